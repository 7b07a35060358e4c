package roof

import (
	"math"
	"slices"
)

// overlay lays one polygon, plane 0, over another, plane 1, with nodes wherever their
// sides touch or cross.
type overlay struct {
	*mesh
	rings2 [2][][]Point
}

func newOverlay(a, b [][]Point) *overlay {
	planes := make([]Plane, 2)
	for i, rings := range [][][]Point{a, b} {
		planes[i].Outline = wind(rings[0], true)
		for _, hole := range rings[1:] {
			planes[i].Openings = append(planes[i].Openings, Opening{Outline: wind(hole, false)})
		}
	}
	o := &overlay{mesh: newMesh(planes, nil, float64(Touch))}
	o.cross()
	for i := range 2 {
		o.rings2[i] = o.pointRings(i)
	}
	o.link()
	return o
}

// cross puts a node wherever a side of one crosses a side of the other.
func (o *overlay) cross() {
	type place struct {
		node  int
		along float64
	}
	cuts := make(map[[2]int][]place)
	for _, ra := range o.rings[0] {
		for i, a := range ra {
			b := ra[(i+1)%len(ra)]
			for _, rb := range o.rings[1] {
				for j, c := range rb {
					d := rb[(j+1)%len(rb)]
					if a == c || a == d || b == c || b == d || !crosses(o.nodes[a], o.nodes[b], o.nodes[c], o.nodes[d]) {
						continue
					}
					ta, tb := turn(o.nodes[c], o.nodes[d], o.nodes[a]).float(), turn(o.nodes[c], o.nodes[d], o.nodes[b]).float()
					p := between(o.nodes[a], o.nodes[b], ta/(ta-tb))
					o.nodes = append(o.nodes, p)
					n := len(o.nodes) - 1
					_, along := distance(p, o.nodes[c], o.nodes[d])
					cuts[[2]int{a, b}] = append(cuts[[2]int{a, b}], place{n, ta / (ta - tb)})
					cuts[[2]int{c, d}] = append(cuts[[2]int{c, d}], place{n, along})
				}
			}
		}
	}
	for p := range o.rings {
		for r, ring := range o.rings[p] {
			var out []int
			for i, a := range ring {
				out = append(out, a)
				stops := cuts[[2]int{a, ring[(i+1)%len(ring)]}]
				slices.SortFunc(stops, func(x, y place) int {
					if x.along < y.along {
						return -1
					}
					return 1
				})
				for _, s := range stops {
					out = append(out, s.node)
				}
			}
			o.rings[p][r] = out
		}
	}
}

// where tells whether side s lies inside the other polygon, or along its border with
// both on the same side of it.
func (o *overlay) where(s int) (within, along, against bool) {
	other := 1 - o.sides[s].plane
	if t := o.twin(s); t >= 0 && o.sides[t].plane == other {
		return false, false, true
	}
	for t := range o.sides {
		if o.sides[t].plane == other && o.sides[t].a == o.sides[s].a && o.sides[t].b == o.sides[s].b {
			return false, true, false
		}
	}
	a, b := o.ends(s)
	return inside(Point{a.X + b.X, a.Y + b.Y}, o.rings2[other]), false, false
}

// overlaps tells whether the two have any area in common.
func (o *overlay) overlaps() bool {
	for s := range o.sides {
		if within, along, _ := o.where(s); within || along {
			return true
		}
	}
	return false
}

// common gives the corners of what both have in common.
func (o *overlay) common() []Point {
	var out []Point
	for s := range o.sides {
		if within, along, _ := o.where(s); within || along {
			a, b := o.ends(s)
			out = append(out, a, b)
		}
	}
	return out
}

// difference is what is left of the first where the second is not: polygons, their
// outlines first. Pieces thinner than a few millimetres are dropped.
func (o *overlay) difference() ([][][]Point, bool) {
	next := make(map[int][]int)
	for s := range o.sides {
		within, along, against := o.where(s)
		switch sd := o.sides[s]; {
		case sd.plane == 0 && !within && !along:
			next[sd.a] = append(next[sd.a], sd.b)
		case sd.plane == 1 && within && !against:
			next[sd.b] = append(next[sd.b], sd.a)
		}
	}
	var outlines, holes [][]Point
	for len(next) > 0 {
		loop, ok := o.loop(next)
		if !ok {
			return nil, false
		}
		ring := thin(loop)
		if len(ring) < 3 || math.Abs(twiceArea(ring).float())/2 < perimeter(ring)*float64(Clearance) {
			continue
		}
		if twiceArea(ring).sign() > 0 {
			outlines = append(outlines, ring)
		} else {
			holes = append(holes, ring)
		}
	}
	var out [][][]Point
	for _, outline := range outlines {
		rings := [][]Point{outline}
		for _, hole := range holes {
			if inside(Point{2 * hole[0].X, 2 * hole[0].Y}, [][]Point{outline}) {
				rings = append(rings, hole)
			}
		}
		out = append(out, rings)
	}
	return out, true
}

// loop takes one closed loop out of the segments, turning left where it can, so that
// pieces that touch in one node come apart.
func (o *overlay) loop(next map[int][]int) ([]Point, bool) {
	start := math.MaxInt
	for n := range next {
		start = min(start, n)
	}
	var ring []Point
	before, at := -1, start
	for {
		choices := next[at]
		if len(choices) == 0 {
			return nil, false
		}
		pick := 0
		if before >= 0 {
			for i := range choices {
				if o.leftness(before, at, choices[i]) > o.leftness(before, at, choices[pick]) {
					pick = i
				}
			}
		}
		to := choices[pick]
		if next[at] = slices.Delete(slices.Clone(choices), pick, pick+1); len(next[at]) == 0 {
			delete(next, at)
		}
		ring = append(ring, o.nodes[at])
		before, at = at, to
		if at == start {
			return ring, true
		}
	}
}

// leftness is the turn to the left at b on the way from a to c, -pi to pi.
func (o *overlay) leftness(a, b, c int) float64 {
	p, q, r := o.nodes[a], o.nodes[b], o.nodes[c]
	t := math.Atan2(float64(r.Y-q.Y), float64(r.X-q.X)) - math.Atan2(float64(q.Y-p.Y), float64(q.X-p.X))
	return math.Remainder(t, 2*math.Pi)
}

func perimeter(ring []Point) float64 {
	sum := 0.0
	for i, p := range ring {
		sum += run(p, ring[(i+1)%len(ring)])
	}
	return sum
}
