package takeoff

import (
	"fmt"
	"math"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// Opening is a chimney, a skylight, a dormer's cut-out, another curb or a pipe: what goes
// through a plane and is flashed there.
type Opening struct {
	Mark, Plane events.Place
	// Kind is chimney, skylight, dormer, curb or pipe.
	Kind string
	// Width is how wide it is across the fall; a pipe's diameter.
	Width quantity.Length
	// Round is the true length of border to flash, Apron of its low side, Head of its high
	// side, Sides of what runs up the slope on both sides. Where another plane meets the
	// border, as a dormer's wall or valley does, an edge has it and it is no part of these.
	// A pipe has Round only, its diameter times pi. A box set with a corner up the slope has
	// sides only: it parts the water by itself.
	Round, Apron, Sides, Head quantity.Length
	// Above is the plan area straight up the slope from it, whose water comes to it.
	Above quantity.Area

	slope               float64
	aprons, sides, head []quantity.Length // each unbroken run
}

// runs are the unbroken runs of one part of the border.
func (o *Opening) runs(along string) []quantity.Length {
	switch along {
	case assembly.Apron:
		return o.aprons
	case assembly.Sides:
		return o.sides
	case assembly.Head:
		return o.head
	}
	if o.Round == 0 {
		return nil
	}
	return []quantity.Length{o.Round}
}

// extent is how much of a step there is at the opening: one for a pipe.
func (o *Opening) extent(s *assembly.Step) quantity.Amount {
	if o.Kind == string(roof.PipeKind) {
		return quantity.Pieces(1)
	}
	return quantity.OfLength(sum(o.runs(s.Along)))
}

// openingsOf lists a plane's openings, then its pipes.
func openingsOf(c *cutter, p *roof.Plane, sides []side) []Opening {
	var all []Opening
	for i := range p.Openings {
		all = append(all, openingOf(c, p, &p.Openings[i], sides))
	}
	for _, pipe := range p.Pipes {
		o := Opening{
			Mark: events.Place(pipe.Mark), Plane: events.Place(p.Mark), Kind: string(roof.PipeKind), Width: pipe.Diameter,
			Round: nanometres(math.Pi * float64(pipe.Diameter)), slope: p.Pitch.Slope(),
		}
		at := frameOf(p).spot(pipe.At)
		o.Above = above(c, p, sides, at.u-float64(pipe.Diameter)/2, at.u+float64(pipe.Diameter)/2, at.v, o.Mark)
		all = append(all, o)
	}
	return all
}

func openingOf(c *cutter, p *roof.Plane, hole *roof.Opening, sides []side) Opening {
	o := Opening{Mark: events.Place(hole.Mark), Plane: events.Place(p.Mark), Kind: string(hole.Kind), slope: p.Pitch.Slope()}
	f := frameOf(p)
	left, right, foot := math.Inf(1), math.Inf(-1), math.Inf(1)
	for _, q := range hole.Outline {
		s := f.spot(q)
		left, right, foot = min(left, s.u), max(right, s.u), min(foot, s.v)
	}
	o.Width = nanometres(right - left)
	ring := ringOf(hole, f, sides)
	for i := range ring {
		o.Round += ring[i].length
	}
	// A run begins where the side before it is of another part, or goes the other way.
	for i := range ring {
		s, runs := ring[i], o.part(ring[i].part)
		if runs == nil || s.goesOn(ring[(i+len(ring)-1)%len(ring)]) {
			continue
		}
		whole := s.length
		for k := i + 1; k < i+len(ring) && ring[k%len(ring)].goesOn(s); k++ {
			whole += ring[k%len(ring)].length
		}
		*runs = append(*runs, whole)
	}
	o.Apron, o.Sides, o.Head = sum(o.aprons), sum(o.sides), sum(o.head)
	if o.Round > 0 {
		o.Above = above(c, p, sides, left, right, foot, o.Mark)
	}
	return o
}

func (o *Opening) part(name string) *[]quantity.Length {
	switch name {
	case assembly.Apron:
		return &o.aprons
	case assembly.Sides:
		return &o.sides
	case assembly.Head:
		return &o.head
	}
	return nil
}

// span is one side of an opening's ring; its part is empty where an edge has it, and then
// it has no length to flash.
type span struct {
	part   string
	up     bool // of a side: whether it runs up the slope
	length quantity.Length
}

func (s span) goesOn(before span) bool { return s.part == before.part && s.up == before.up }

// ringOf are the sides of an opening in their order. As eaves and rakes are told apart, a
// side within 45 degrees in plan of level on the plane is apron or head.
func ringOf(hole *roof.Opening, f frame, sides []side) []span {
	var ring []span
	for i, a := range hole.Outline {
		b := hole.Outline[(i+1)%len(hole.Outline)]
		s, e := f.spot(a), f.spot(b)
		one := span{part: assembly.Sides, up: e.v > s.v, length: nanometres(free(hole, s, e, sides))}
		run := (e.v - s.v) / f.factor
		if across := e.u - s.u; math.Abs(across) >= math.Abs(run) {
			// The outline runs clockwise, so that its high side runs to the right.
			one.part, one.up = assembly.Apron, false
			if across > 0 {
				one.part = assembly.Head
			}
		}
		if one.length == 0 {
			one = span{}
		}
		ring = append(ring, one)
	}
	return ring
}

// free is how much of a side of an opening no edge takes.
func free(hole *roof.Opening, a, b spot, sides []side) float64 {
	sum := 0.0
	for i := range sides {
		s := &sides[i]
		if s.place == events.Place(hole.Mark) && s.kind == "" && between(s.a, a, b) && between(s.b, a, b) {
			sum += math.Hypot(s.b.u-s.a.u, s.b.v-s.a.v)
		}
	}
	return sum
}

// between tells whether a spot lies on the line from a to b, or a hair off it.
func between(s, a, b spot) bool {
	du, dv := b.u-a.u, b.v-a.v
	long := math.Hypot(du, dv)
	x, y := s.u-a.u, s.v-a.v
	along := (x*du + y*dv) / long
	return math.Abs(x*dv-y*du)/long <= hair && along >= -hair && along <= long+hair
}

// above is the plan area of the plane straight up the slope from a height, from left to
// right, without what ends at the place itself.
func above(c *cutter, p *roof.Plane, sides []side, left, right, from float64, place events.Place) quantity.Area {
	whole := 0.0
	for _, sheet := range c.slabs(sides, left, right) {
		for _, s := range sheet {
			if s.high.place == place {
				continue
			}
			s.lowLeft, s.lowRight = max(s.lowLeft, from), max(s.lowRight, from)
			s.highLeft, s.highRight = max(s.highLeft, from), max(s.highRight, from)
			whole += s.area()
		}
	}
	return quantity.Area(math.Round(whole / p.SlopeFactor / 1e10))
}

// bootReach is how far a pipe's boot reaches out from it on the pan (common practice).
const bootReach = 2 * quantity.Inch

// throughPanel says which panel a pipe goes through and where, for the hole; and whether
// its boot would lie over a seam.
func (p *Plane) throughPanel(drawn *roof.Plane, pipe roof.Pipe) string {
	at := frameOf(drawn).spot(pipe.At)
	foot := math.Inf(1)
	for i := range p.sides {
		foot = min(foot, p.sides[i].a.v, p.sides[i].b.v)
	}
	up := nanometres(at.v - foot)
	for i := range p.Panels {
		panel := &p.Panels[i]
		if at.u < panel.left || at.u > panel.right || up < panel.Low || up > panel.High {
			continue
		}
		fromLeft, fromRight := nanometres(at.u-panel.left), nanometres(panel.right-at.u)
		said := fmt.Sprintf("%s, %s wide, goes through panel %s: its middle is %s from the left seam and %s up the slope from the panel's lowest place, without what the end gains.",
			pipe.Mark, pipe.Diameter, panel.Mark, fromLeft.Nearest(16), (up - panel.Low).Nearest(16))
		if near := min(fromLeft, fromRight); near < pipe.Diameter/2+bootReach {
			said += fmt.Sprintf(" A seam is %s from its middle, nearer than its boot reaches: shift the plane's start, or the pipe.", near.Nearest(16))
		}
		return said
	}
	return fmt.Sprintf("%s goes through no panel's covered width: look where it stands.", pipe.Mark)
}

// cricket is the sheet metal of a cricket: two faces as steep as the roof that meet in a
// level ridge from the middle of the head back to the roof, half the width away in plan,
// and flanges up the wall and out along both valleys. It is half the width times the
// slope high, as IRC table R1003.20 has it (12 in 12 half the width, 6 in 12 a quarter).
func (o *Opening) cricket(u assembly.Use) need {
	w, factor := float64(o.Width), math.Hypot(1, o.slope)
	faces := quantity.Area(math.Round(w * w / 4 * factor / 1e10))
	valley := nanometres(w / 2 * math.Sqrt(2+o.slope*o.slope))
	flanges := rectangle(o.Width+2*valley, u.Width)
	return need{
		net: quantity.OfArea(faces), laps: quantity.OfArea(flanges),
		basis: fmt.Sprintf("behind %s, %s wide, two faces %s high at its wall cover %s; flanges of %s along %s of wall and two valleys of %s, %s",
			o.Mark, o.Width.Nearest(16), nanometres(w/2*o.slope).Nearest(16), feet2(faces), u.Width, o.Width.Nearest(16), valley.Nearest(16), feet2(flanges)),
	}
}
