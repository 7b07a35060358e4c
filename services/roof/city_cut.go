package roof

import (
	"fmt"
	"math"
)

// cutUnder cuts every face back to where no other face stands over it: city models
// often lay a dormer's roof over a main roof drawn whole. It fails where two faces
// pass through each other, because then neither is over the other.
func cutUnder(facets []facet) ([]facet, []LeftFace, error) {
	var out []facet
	var cuts []LeftFace
	for i := range facets {
		pieces := [][][]Point{facets[i].rings}
		for j := range facets {
			if i == j || facets[i].left != "" {
				continue
			}
			lower, err := isUnder(&facets[i], &facets[j])
			if err != nil {
				return nil, nil, err
			}
			if !lower {
				continue
			}
			var rest [][][]Point
			for _, piece := range pieces {
				o := newOverlay(piece, facets[j].rings)
				if !o.overlaps() {
					rest = append(rest, piece)
					continue
				}
				left, ok := o.difference()
				if !ok {
					return nil, nil, fmt.Errorf("%s stands over %s, and what it leaves of it has no clean outline", facets[j].name(), facets[i].name())
				}
				rest = append(rest, left...)
			}
			pieces = rest
		}
		kept := 0.0
		for _, piece := range pieces {
			f := facets[i].piece(piece)
			kept += f.area()
			out = append(out, f)
		}
		if gone := facets[i].area() - kept; gone > 1e-6 {
			cuts = append(cuts, LeftFace{FaceID{facets[i].face.part, facets[i].face.index}, "under another", gone})
		}
	}
	return out, cuts, nil
}

// isUnder tells whether f lies under g where both are, by more than noise.
func isUnder(f, g *facet) (bool, error) {
	if _, any := boxOf(f.rings[0]).common(boxOf(g.rings[0])); !any || g.normal[2] < 1e-4 || f.normal[2] < 1e-4 {
		return false, nil
	}
	o := newOverlay(f.rings, g.rings)
	if !o.overlaps() {
		return false, nil
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, p := range o.common() {
		over := (g.height(p) - f.height(p)) / 1e9
		lowest, highest = math.Min(lowest, over), math.Max(highest, over)
	}
	const noise = 0.12 // metres: how far a dormer's roof may reach into the one below
	switch {
	case lowest > -noise && highest > -lowest:
		return true, nil
	case highest < noise && -lowest > highest:
		return false, nil
	}
	return false, fmt.Errorf("%s and %s pass through each other (from %.2f m below to %.2f m above)", f.name(), g.name(), -lowest, highest)
}

// piece is a part of f with its own outline, on the same plane.
func (f *facet) piece(rings [][]Point) facet {
	p := *f
	p.rings, p.heights = rings, nil
	twice := 0.0
	for _, ring := range rings {
		var heights []float64
		for _, q := range ring {
			heights = append(heights, f.height(q))
		}
		p.heights = append(p.heights, heights)
		twice += twiceArea(ring).float() / 1e18
	}
	share := math.Abs(twice) / 2 / f.normal[2]
	for axis := range 3 {
		p.normal[axis] *= share
	}
	if p.left == "" && p.normal[2] < tiniest {
		p.left = "tiny"
	}
	return p
}
