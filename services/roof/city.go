package roof

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"bydark/events/quantity"
)

// Building is what a city model says of one building, as a roof, or why not.
type Building struct {
	ID string
	// Roof is nil when the building was skipped: then Reason says why, in words.
	Roof   *Roof
	Reason string
	// Left lists the faces that no standing seam roof has and that were left out: flat
	// ones, walls and slivers. The roof's edges against them are free edges, or walls
	// where they rise above it.
	Left []LeftFace
	// Faces tells of each plane, by mark, of which faces of the file it is made.
	Faces map[PlaneMark][]FaceID
}

// FaceID names a surface: the part, and its place in the part's boundaries.
type FaceID struct {
	Part  string
	Index int
}

// LeftFace is a face left out: "flat" (under half a degree), "steep" (over 24/12) or
// "tiny" (under 0.02 m² in plan), with its true area in square metres; or one cut back
// because it lies "under another", with the area cut off.
type LeftFace struct {
	FaceID
	Why    string
	AreaM2 float64
}

// CityBuildings reads the roofs of a city model: CityJSON 1.1 or 2.0, or a text
// sequence. It takes the surfaces marked RoofSurface of each building and its parts in
// level of detail 2 or better, joins those that are one plane, and works out the roof
// with its south-west corner as the origin and the building's lowest vertex as height
// zero. It refuses the file with a *Refusal; a building that cannot be read as a roof
// is skipped with its reason, and never guessed at.
func CityBuildings(data []byte) ([]Building, error) {
	found, err := readCity(data)
	if err != nil {
		return nil, err
	}
	var out []Building
	for i := range found {
		out = append(out, found[i].building())
	}
	return out, nil
}

// building makes the building's roof of its best level of detail that gives one. The reason
// why none does is that of the best.
func (c *cityBuilding) building() Building {
	if c.reason != "" {
		return Building{ID: c.id, Reason: c.reason}
	}
	first := Building{ID: c.id, Reason: "it has no surface marked as roof in level of detail 2 or better"}
	if len(c.seen) > 0 {
		slices.Sort(c.seen)
		first.Reason += ", only " + clip(strings.Join(slices.Compact(c.seen), ", "))
	}
	choices := slices.DeleteFunc(c.choices(), func(faces []cityFace) bool { return len(faces) == 0 })
	for i, faces := range choices {
		b := c.of(faces)
		if b.Roof != nil {
			return b
		}
		if i == 0 {
			first = b
		}
	}
	return first
}

func (c *cityBuilding) of(faces []cityFace) Building {
	b := Building{ID: c.id}
	if len(faces) > MaxPlanes {
		b.Reason = fmt.Sprintf("it has %d roof faces; %d are the most", len(faces), MaxPlanes)
		return b
	}
	if n := points(faces); n > MaxPoints {
		b.Reason = fmt.Sprintf("its roof faces have %d corners; %d are the most", n, MaxPoints)
		return b
	}
	var facets []facet
	origin := c.origin(faces)
	sloped := 0
	for _, face := range faces {
		f := newFacet(face, origin)
		if f.left == "" {
			sloped++
			if off := f.offPlane(&f); off > notFlat.Metres() {
				b.Reason = fmt.Sprintf("%s is not flat: its corners lie up to %.2f m off its plane", f.name(), off)
				return b
			}
		} else {
			b.Left = append(b.Left, LeftFace{FaceID{face.part, face.index}, f.left, f.area()})
		}
		facets = append(facets, f)
	}
	if sloped == 0 {
		b.Reason = "no roof face has a slope between half a degree and 24/12"
		return b
	}
	// The widest tolerance that gives a roof without moving any area by a thousandth.
	var reasons []string
	for _, tolerance := range []quantity.Length{10 * quantity.Millimetre, 4 * quantity.Millimetre, Touch} {
		err := b.assemble(facets, tolerance)
		if err == nil {
			return b
		}
		reasons = append(reasons, err.Error())
	}
	b.Reason = reasons[len(reasons)-1]
	cut, cuts, err := cutUnder(facets)
	if err != nil {
		b.Reason = err.Error()
		return b
	}
	if len(cuts) == 0 {
		return b
	}
	if err := b.assemble(cut, Touch); err != nil {
		b.Reason = err.Error()
		return b
	}
	b.Reason, b.Left = "", append(b.Left, cuts...)
	return b
}

func points(faces []cityFace) int {
	n := 0
	for _, f := range faces {
		for _, ring := range f.rings {
			n += len(ring)
		}
	}
	return n
}

// origin is the south-west corner of the roof in plan and the lowest vertex.
func (c *cityBuilding) origin(faces []cityFace) spot {
	o := spot{math.MaxInt64, math.MaxInt64, c.ground}
	for _, f := range faces {
		for _, ring := range f.rings {
			for _, s := range ring {
				o.x, o.y = min(o.x, s.x), min(o.y, s.y)
			}
		}
	}
	return o
}

// assemble makes the roof of the facets, with points nearer than the tolerance taken
// as one.
func (b *Building) assemble(facets []facet, tolerance quantity.Length) error {
	m := &mesh{tolerance: float64(tolerance)}
	for i := range facets {
		p := Plane{Outline: wind(facets[i].rings[0], true)}
		for _, hole := range facets[i].rings[1:] {
			p.Openings = append(p.Openings, Opening{Outline: wind(hole, false)})
		}
		m.planes = append(m.planes, p)
	}
	m = newMesh(m.planes, nil, float64(tolerance))
	m.link()
	patches := m.patches(facets)
	doc := document{Name: b.ID}
	if len(doc.Name) > 200 {
		doc.Name = doc.Name[:200]
	}
	b.Faces = make(map[PlaneMark][]FaceID)
	for i := range patches {
		mark := PlaneMark(fmt.Sprintf("P%d", i+1))
		plane, err := patches[i].document(mark)
		if err != nil {
			return err
		}
		if err := patches[i].checkArea(facets); err != nil {
			return err
		}
		doc.Planes = append(doc.Planes, plane)
		for _, f := range patches[i].facets {
			b.Faces[mark] = append(b.Faces[mark], FaceID{facets[f].face.part, facets[f].face.index})
		}
	}
	doc.Edges = m.walls(facets, patches)
	r, err := build(&doc)
	if refusal, ok := errors.AsType[*Refusal](err); ok && refusal.Code == "no-such-edge" {
		// Cleaning moved a border away from where the wall stood: better a border of the
		// kind that the geometry gives than no roof.
		doc.Edges = nil
		r, err = build(&doc)
	}
	if err != nil {
		if refusal, ok := errors.AsType[*Refusal](err); ok {
			return errors.New(b.explain(refusal))
		}
		return err
	}
	b.Roof = r
	return nil
}

// explain says a refusal with the faces of the file in place of our marks.
func (b *Building) explain(r *Refusal) string {
	var faces []string
	for mark, ids := range b.Faces {
		if strings.Contains(r.Where+",", " "+string(mark)+",") || strings.Contains(r.Where, " "+string(mark)+" ") {
			faces = append(faces, fmt.Sprintf("%s is face %d of %s", mark, ids[0].Index, clip(ids[0].Part)))
		}
	}
	if len(faces) == 2 && faces[0] > faces[1] {
		faces[0], faces[1] = faces[1], faces[0]
	}
	return fmt.Sprintf("%s (%s)", r.Error(), strings.Join(faces, ", "))
}

// document writes the patch as a plane of a roof file.
func (p *patch) document(mark PlaneMark) (planeDocument, error) {
	slope := math.Hypot(p.normal[0], p.normal[1]) / p.normal[2]
	falls := math.Round(bearing(p.normal[0], p.normal[1])*1e6) / 1e6
	if falls >= 360 {
		falls = 0
	}
	doc := planeDocument{Mark: string(mark), Pitch: fmt.Sprintf("%.6f/12", math.Min(slope*12, Steepest.Slope()*12)), FallsDeg: &falls}
	f := facet{normal: p.normal, middle: p.middle}
	low := math.Inf(1)
	for i, ring := range p.rings {
		ring = thin(ring)
		if len(ring) < 3 {
			if i == 0 {
				return doc, fmt.Errorf("plane %s is narrower than a few millimetres", mark)
			}
			continue
		}
		if i == 0 {
			doc.Outline = pairs(ring)
			for _, q := range ring {
				low = math.Min(low, f.height(q))
			}
		} else {
			doc.Openings = append(doc.Openings, pairs(ring))
		}
	}
	doc.EaveHeight = quantity.Length(math.Round(low)).String()
	return doc, nil
}

// thin drops points nearer to the one before than Clearance.
func thin(ring []Point) []Point {
	var out []Point
	for _, p := range ring {
		if len(out) == 0 || run(p, out[len(out)-1]) >= float64(Clearance) {
			out = append(out, p)
		}
	}
	for len(out) > 1 && run(out[0], out[len(out)-1]) < float64(Clearance) {
		out = out[:len(out)-1]
	}
	return out
}

// checkArea refuses a plane whose area has moved from its faces' by a thousandth.
func (p *patch) checkArea(facets []facet) error {
	want, twice := 0.0, 0.0
	for _, i := range p.facets {
		want += facets[i].normal[2]
	}
	for _, ring := range p.rings {
		twice += twiceArea(ring).float() / 1e18
	}
	if math.Abs(twice/2-want) > 0.0008*want {
		return fmt.Errorf("face %d of %s: cleaning it would change its area from %.3f to %.3f m²", facets[p.facets[0]].face.index, clip(facets[p.facets[0]].face.part), want, twice/2)
	}
	return nil
}
