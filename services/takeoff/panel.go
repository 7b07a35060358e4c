package takeoff

import (
	"math"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// Rule is the mark of the rule to which a panel's length is cut: lengths go up to it.
const Rule = quantity.Inch / 16

// Panel is one sheet between two seams.
type Panel struct {
	Mark  events.PieceMark
	Plane events.Place
	// Cover is the width that it covers, Length what is to be cut: from the lowest to the
	// highest place of its metal, allowances in it, up to the next 1/16 in.
	Cover, Length quantity.Length
	// LowEnd and HighEnd say how the ends are cut, as one looks up the slope.
	LowEnd, HighEnd string
	// LowEdge and HighEdge are the edges or openings at its ends; where several are, the
	// one that takes most of the end's width.
	LowEdge, HighEdge events.Place
	// LowGain and HighGain are what the ends add to the length, or take from it.
	LowGain, HighGain quantity.Length
	// LowRun and HighRun are how much further up the slope the right seam side begins and
	// ends than the left one; zero at an end that is square or of several cuts.
	LowRun, HighRun quantity.Length
	// Low and High are its lowest and highest place on the slope above the plane's lowest.
	Low, High quantity.Length
	// Area is the true area that it covers of its plane.
	Area quantity.Area
	// Cutouts are for openings that take a part of its width, and the like.
	Cutouts []Cutout
	// Outline is what it covers, in plan, counterclockwise. An opening inside it is no
	// part of the outline.
	Outline []roof.Point

	seams []seam
	meets []meet
	strip int // its strip, counted from the start at 0

	left, right float64 // along the eave
}

// meet is an edge at one of the panel's ends.
type meet struct {
	place     events.Place
	low, high float64 // how wide it ends there with its low and its high end
}

// line is one straight cut of a panel's end.
type line struct {
	a, b spot
	side *side
}

// ends are the straight cuts at a sheet's low and high end, from left to right. What is
// narrower than a hair is left out, unless the whole sheet is.
func (c *cutter) ends(sheet []slab) (low, high []line) {
	c.low, c.high = c.low[:0], c.high[:0]
	for _, all := range [2]bool{false, true} {
		for i := 0; i < len(sheet); {
			j := i
			for j+1 < len(sheet) && sheet[j+1].left == sheet[i].left {
				j++
			}
			b, t := &sheet[i], &sheet[j]
			if all || b.right-b.left > hair {
				c.low = appendLine(c.low, line{spot{b.left, b.lowLeft}, spot{b.right, b.lowRight}, b.low})
				c.high = appendLine(c.high, line{spot{t.left, t.highLeft}, spot{t.right, t.highRight}, t.high})
			}
			i = j + 1
		}
		if len(c.low) > 0 {
			break
		}
	}
	return c.low, c.high
}

func appendLine(lines []line, l line) []line {
	if n := len(lines); n > 0 && lines[n-1].side == l.side && lines[n-1].b.u == l.a.u {
		lines[n-1].b = l.b
		return lines
	}
	return append(lines, l)
}

// gain is what a panel's cut length gains at an end that meets a side. Below an opening
// panels end as at a wall, above one they hook over its flashing as at a break.
func gain(p *assembly.Panel, s *side, atLow bool) quantity.Length {
	kind := s.kind
	if kind == "" {
		kind = roof.Wall
		if atLow {
			kind = roof.Break
		}
	}
	return p.Ends[string(kind)]
}

// reach is the lowest and the highest place of the sheet with and without what its ends
// gain.
type reach struct{ low, high, cutLow, cutHigh float64 }

func reachOf(p *assembly.Panel, low, high []line) reach {
	r := reach{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for i := range low {
		v := min(low[i].a.v, low[i].b.v)
		r.low, r.cutLow = min(r.low, v), min(r.cutLow, v-float64(gain(p, low[i].side, true)))
	}
	for i := range high {
		v := max(high[i].a.v, high[i].b.v)
		r.high, r.cutHigh = max(r.high, v), max(r.cutHigh, v+float64(gain(p, high[i].side, false)))
	}
	return r
}

// cutLength goes up to the rule; a micrometre over a mark is the arithmetic's, not the
// metal's. A sheet that the trim-back would take away whole is cut as long as it is.
func (r reach) cutLength() quantity.Length {
	const micrometre = 1_000 * quantity.Nanometre
	l := nanometres(r.cutHigh-r.cutLow) - micrometre
	if l < Rule {
		l = nanometres(r.high-r.low) - micrometre
	}
	return max(l.RoundUp(Rule), Rule)
}

func nanometres(nm float64) quantity.Length { return quantity.Length(math.Round(nm)) }

// panel measures a sheet.
func (l *lay) panel(sheet []slab, from string) Panel {
	low, high := l.cut.ends(sheet)
	r := reachOf(&l.a.Panel, low, high)
	left, right := sheet[0].left, sheet[len(sheet)-1].right
	p := Panel{
		Plane: events.Place(l.p.Mark), Cover: nanometres(right - left), Length: r.cutLength(),
		LowEnd: words(low, true), HighEnd: words(high, false),
		LowGain: nanometres(r.low - r.cutLow), HighGain: nanometres(r.cutHigh - r.high),
		Low: nanometres(r.low - l.foot), High: nanometres(r.high - l.foot),
		Outline: l.outline(low, high), meets: meetsOf(sheet), seams: l.seams(sheet, from),
		left: left, right: right, Cutouts: cutouts(sheet, left, r.low),
	}
	p.Cover = min(p.Cover, l.a.Panel.Cover)
	p.LowEdge, p.HighEdge = widest(low), widest(high)
	p.LowRun, p.HighRun = l.run(low, p.Length), l.run(high, p.Length)
	return p
}

// widest is the edge that takes most of an end.
func widest(lines []line) events.Place {
	var place events.Place
	best := 0.0
	for i := range lines {
		sum := 0.0
		for j := range lines {
			if lines[j].side.place == lines[i].side.place {
				sum += lines[j].b.u - lines[j].a.u
			}
		}
		if sum > best {
			place, best = lines[i].side.place, sum
		}
	}
	return place
}

// meetsOf lists what the sheet ends at, also inside it, each once.
func meetsOf(sheet []slab) []meet {
	all := make([]meet, 0, 2)
	add := func(s *side, low, high float64) {
		for i := range all {
			if all[i].place == s.place {
				all[i].low, all[i].high = all[i].low+low, all[i].high+high
				return
			}
		}
		all = append(all, meet{s.place, low, high})
	}
	for i := range sheet {
		s := &sheet[i]
		add(s.low, s.right-s.left, 0)
		add(s.high, 0, s.right-s.left)
	}
	return all
}

func (l *lay) outline(low, high []line) []roof.Point {
	points := make([]roof.Point, 0, 2*(len(low)+len(high)))
	add := func(s spot) {
		q := l.f.point(s)
		if n := len(points); n == 0 || points[n-1] != q && points[0] != q {
			points = append(points, q)
		}
	}
	for i := range low {
		add(low[i].a)
		add(low[i].b)
	}
	for i := len(high) - 1; i >= 0; i-- {
		add(high[i].b)
		add(high[i].a)
	}
	return points
}
