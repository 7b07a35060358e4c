package takeoff

import (
	"cmp"
	"math"
	"slices"

	"bydark/events"
	"bydark/services/roof"
)

// hair is what a drawing may be out where lines should meet: less is a rounding, not a
// strip, a step or an end of its own.
const hair = float64(roof.Touch)

// spot is a place on a plane: u along the eave, to the right as one looks up the slope,
// v up the slope on the metal, both in nanometres.
type spot struct{ u, v float64 }

// frame turns plan coordinates into a plane's own and back.
type frame struct{ dx, dy, factor float64 }

func frameOf(p *roof.Plane) frame {
	dx, dy := p.Downhill()
	return frame{dx, dy, p.SlopeFactor}
}

func (f frame) spot(p roof.Point) spot {
	x, y := float64(p.X), float64(p.Y)
	return spot{u: y*f.dx - x*f.dy, v: -(x*f.dx + y*f.dy) * f.factor}
}

func (f frame) point(s spot) roof.Point {
	run := s.v / f.factor
	return roof.Point{
		X: nanometres(-s.u*f.dy - run*f.dx),
		Y: nanometres(s.u*f.dx - run*f.dy),
	}
}

// side is a straight part of a plane's border along one edge or opening.
type side struct {
	a, b  spot // a.u <= b.u
	place events.Place
	kind  roof.Kind // empty at an opening
}

// at is the side's height on the slope at u, which lies within it.
func (s *side) at(u float64) float64 {
	switch {
	case u <= s.a.u:
		return s.a.v
	case u >= s.b.u:
		return s.b.v
	}
	return s.a.v + (u-s.a.u)/(s.b.u-s.a.u)*(s.b.v-s.a.v)
}

// border is a plane's whole border, outline and openings, cut where its edges change.
func border(r *roof.Roof, p *roof.Plane, f frame) []side {
	var edges []*roof.Edge
	for i := range r.Edges {
		if slices.Contains(r.Edges[i].Planes, p.Mark) {
			edges = append(edges, &r.Edges[i])
		}
	}
	var sides []side
	ring := func(points []roof.Point, place events.Place) {
		for i, a := range points {
			sides = appendSide(sides, f, a, points[(i+1)%len(points)], edges, place)
		}
	}
	ring(p.Outline, "")
	for i := range p.Openings {
		ring(p.Openings[i].Outline, events.Place(p.Openings[i].Mark))
	}
	return sides
}

// stretch is the part of one side, from 0 to 1, that one edge takes.
type stretch struct {
	from, to float64
	edge     *roof.Edge
}

// appendSide cuts the line from a to b where one edge ends and the next begins; what no
// edge takes belongs to the place given.
func appendSide(sides []side, f frame, a, b roof.Point, edges []*roof.Edge, place events.Place) []side {
	var taken []stretch
	// An edge may run past corners that stand a little off its line, as surveys draw them.
	for _, off := range [2]float64{3 * hair, bent} {
		for _, e := range edges {
			if s, ok := along(a, b, e, off); ok {
				taken = append(taken, s)
			}
		}
		if len(taken) > 0 {
			break
		}
	}
	slices.SortFunc(taken, func(s, t stretch) int { return cmp.Compare(s.from+s.to, t.from+t.to) })
	low, high := f.spot(a), f.spot(b)
	between := func(t float64) spot {
		switch t {
		case 0:
			return low
		case 1:
			return high
		}
		return spot{low.u + t*(high.u-low.u), low.v + t*(high.v-low.v)}
	}
	start := 0.0
	for i, s := range taken {
		end := 1.0
		if i+1 < len(taken) {
			end = (s.to + taken[i+1].from) / 2
		}
		sides = append(sides, sideOf(between(start), between(end), events.Place(s.edge.Mark), s.edge.Kind))
		start = end
	}
	if len(taken) == 0 {
		sides = append(sides, sideOf(low, high, place, ""))
	}
	return sides
}

func sideOf(a, b spot, place events.Place, kind roof.Kind) side {
	if a.u > b.u {
		a, b = b, a
	}
	return side{a, b, place, kind}
}

// bent is how far a side may lie off the edge that it belongs to.
const bent = float64(2 * roof.Step)

// along tells which part of the line from a to b lies on an edge, or at most so far off.
func along(a, b roof.Point, e *roof.Edge, most float64) (stretch, bool) {
	dx, dy := float64(b.X-a.X), float64(b.Y-a.Y)
	length := math.Hypot(dx, dy)
	if length == 0 {
		return stretch{}, false
	}
	off := func(p roof.Point) (t, away float64) {
		x, y := float64(p.X-a.X), float64(p.Y-a.Y)
		return (x*dx + y*dy) / (length * length), math.Abs(x*dy-y*dx) / length
	}
	from, awayFrom := off(e.From)
	to, awayTo := off(e.To)
	if from > to {
		from, to, awayFrom, awayTo = to, from, awayTo, awayFrom
	}
	s := stretch{max(from, 0), min(to, 1), e}
	if (s.to-s.from)*length <= hair {
		return stretch{}, false
	}
	// How far off the edge runs where the overlap begins and ends.
	slant := (awayTo - awayFrom) / (to - from)
	near := func(t float64) bool { return awayFrom+slant*(t-from) <= most }
	return s, near(s.from) && near(s.to)
}
