package takeoff

import (
	"fmt"
	"math"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// Rule is the finest mark to which a panel's length is cut: lengths go up to it.
const Rule = quantity.Inch / 16

// MostPanels bounds the panels of one plane.
const MostPanels = 10_000

// spot is a place on a plane: u along the eave, v up the slope in plan, nanometres.
type spot struct{ u, v float64 }

// frame turns plan coordinates into a plane's own: u to the right as one looks up the
// slope, v uphill.
type frame struct{ dx, dy float64 }

func (f frame) spot(p roof.Point) spot {
	x, y := float64(p.X), float64(p.Y)
	return spot{u: -x*f.dy + y*f.dx, v: -x*f.dx - y*f.dy}
}

// layOut divides a plane into strips of the cover width, square to the fall, from the
// rake at the left as one looks up the slope.
func layOut(r *roof.Roof, p *roof.Plane, a *assembly.Assembly) (Plane, error) {
	dx, dy := p.Downhill()
	f := frame{dx, dy}
	out := Plane{Mark: events.Place(p.Mark), PlanArea: p.PlanArea, Area: p.Area, SlopeFactor: p.SlopeFactor}
	ring := make([]spot, len(p.Outline))
	low, high := math.Inf(1), math.Inf(-1)
	for i, q := range p.Outline {
		ring[i] = f.spot(q)
		low, high = min(low, ring[i].u), max(high, ring[i].u)
	}
	cover := float64(a.Panel.Cover)
	if (high-low)/cover > MostPanels {
		return Plane{}, &events.Refusal{
			Code: "too-many-panels", Where: "plane " + string(p.Mark), Was: fmt.Sprintf("%.0f panels", (high-low)/cover),
			Want: fmt.Sprintf("%d at most", MostPanels),
		}
	}
	ends := endsOf(r, p, f)
	// A hair under a sixteenth of an inch is a rounding of the drawing, not a strip.
	for left := low; high-left > float64(Rule); left += cover {
		right := min(left+cover, high)
		piece := clipStrip(ring, left, right)
		if len(piece) < 3 {
			continue
		}
		panel := cutPanel(p, a, ends, piece, left, right)
		panel.Mark = events.PieceMark(fmt.Sprintf("%s-%02d", p.Mark, len(out.Panels)+1))
		out.Panels = append(out.Panels, panel)
	}
	return out, nil
}

// clipStrip is the part of a ring between two lines up the slope (Sutherland and
// Hodgman, Reentrant polygon clipping, 1974).
func clipStrip(ring []spot, left, right float64) []spot {
	ring = clipSide(ring, func(s spot) float64 { return s.u - left })
	return clipSide(ring, func(s spot) float64 { return right - s.u })
}

func clipSide(ring []spot, inside func(spot) float64) []spot {
	var out []spot
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		da, db := inside(a), inside(b)
		if da >= 0 {
			out = append(out, a)
		}
		if da > 0 && db < 0 || da < 0 && db > 0 {
			t := da / (da - db)
			out = append(out, spot{a.u + t*(b.u-a.u), a.v + t*(b.v-a.v)})
		}
	}
	return out
}

func cutPanel(p *roof.Plane, a *assembly.Assembly, ends []end, piece []spot, left, right float64) Panel {
	low, high, twice := math.Inf(1), math.Inf(-1), 0.0
	for i, s := range piece {
		t := piece[(i+1)%len(piece)]
		low, high = min(low, s.v), max(high, s.v)
		twice += s.u*t.v - t.u*s.v
	}
	middle := (left + right) / 2
	under, over := endAt(ends, middle, true), endAt(ends, middle, false)
	length := quantity.Length(math.Round((high-low)*p.SlopeFactor)) + a.Panel.Ends[under.kind] + a.Panel.Ends[over.kind]
	const unit = 1e10 // square nanometres in one unit of Area
	return Panel{
		Plane: events.Place(p.Mark), Cover: quantity.Length(math.Round(right - left)), Length: max(length, Rule).RoundUp(Rule),
		LowEnd: under.words(p.SlopeFactor), HighEnd: over.words(p.SlopeFactor), LowEdge: under.mark, HighEdge: over.mark,
		Area: quantity.Area(math.Round(math.Abs(twice) / 2 / unit * p.SlopeFactor)),
	}
}

// end is an edge of the plane as a panel's end may meet it.
type end struct {
	mark events.Place
	kind string
	a, b spot // a.u <= b.u
}

func endsOf(r *roof.Roof, p *roof.Plane, f frame) []end {
	var ends []end
	for i := range r.Edges {
		g := &r.Edges[i]
		for _, mark := range g.Planes {
			if mark != p.Mark {
				continue
			}
			e := end{mark: events.Place(g.Mark), kind: string(g.Kind), a: f.spot(g.From), b: f.spot(g.To)}
			if e.a.u > e.b.u {
				e.a, e.b = e.b, e.a
			}
			ends = append(ends, e)
		}
	}
	return ends
}

// endAt is the lowest or the highest edge across the line at u.
func endAt(ends []end, u float64, lowest bool) end {
	var found end
	best := math.Inf(1)
	for _, e := range ends {
		if e.b.u-e.a.u <= float64(Rule) || u < e.a.u || u > e.b.u {
			continue
		}
		v := e.a.v + (u-e.a.u)/(e.b.u-e.a.u)*(e.b.v-e.a.v)
		if !lowest {
			v = -v
		}
		if v < best {
			found, best = e, v
		}
	}
	return found
}

// words say how a panel's end is cut, as seen looking up the slope.
func (e end) words(slopeFactor float64) string {
	across, up := e.b.u-e.a.u, (e.b.v-e.a.v)*slopeFactor
	degrees := math.Atan2(math.Abs(up), across) * 180 / math.Pi
	switch {
	case across == 0 || degrees < 0.05:
		return "square"
	case up > 0:
		return fmt.Sprintf("angled %.1f°, higher at the right", degrees)
	default:
		return fmt.Sprintf("angled %.1f°, higher at the left", degrees)
	}
}
