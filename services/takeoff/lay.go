package takeoff

import (
	"fmt"
	"math"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// MostPanels bounds the strips of one plane, MostPanelsInAll the panels of a roof, and
// mostCuts the strips of a plane times the sides of its border, which is what laying it
// out costs.
const (
	MostPanels      = 10_000
	MostPanelsInAll = 100_000
	mostCuts        = 4_000_000
)

// Plane is one plane and its panels.
type Plane struct {
	Mark           events.Place
	PlanArea, Area quantity.Area
	SlopeFactor    float64
	// Panels are in order of setting.
	Panels []Panel
	// Start is where the panels start: left, right or centred, as one looks up the slope.
	Start string
	// Shift is by how much the first panel is narrower than the others, so that the last
	// one is no sliver.
	Shift quantity.Length
	// Choices are what each start takes, for whoever would choose another.
	Choices []Choice
	// Height is how far the plane reaches up the slope.
	Height quantity.Length
	// Notes are what the crew should know about this layout, each in words.
	Notes []string

	sides []side
}

// Choice is what a plane takes when its panels start at one side, or are centred.
type Choice struct {
	Start  string
	Panels int
	// Cut is the length of all panels, Last the cover of the last one.
	Cut, Last quantity.Length
	// Offcut is the metal that is cut and does not cover the plane: angled ends, widths
	// cut off, and what the ends gain.
	Offcut quantity.Area
}

// lay is a plane on its way to its panels.
type lay struct {
	p         *roof.Plane
	a         *assembly.Assembly
	f         frame
	sides     []side
	low, high float64 // the width, along the eave
	foot, top float64 // the lowest and the highest place, up the slope
	cover     float64
	least     float64
	cut       *cutter
	tried     map[string][]quantity.Length // lengths of starts
}

// layOut divides a plane into panels. It refuses a plane that takes more than MostPanels.
func layOut(c *cutter, r *roof.Roof, p *roof.Plane, a *assembly.Assembly, plan Layout) (Plane, error) {
	f := frameOf(p)
	l := &lay{p: p, a: a, f: f, sides: border(r, p, f), cover: float64(a.Panel.Cover), least: float64(plan.leastCover(a)),
		cut: c, tried: make(map[string][]quantity.Length, 3)}
	l.low, l.high = width(l.sides)
	l.foot, l.top = math.Inf(1), math.Inf(-1)
	for i := range l.sides {
		a, b := l.sides[i].a.v, l.sides[i].b.v
		l.foot, l.top = min(l.foot, a, b), max(l.top, a, b)
	}
	switch n := (l.high - l.low) / l.cover; {
	case !(n <= MostPanels):
		return Plane{}, tooMany(p, int(min(n, 1e9)), MostPanels)
	case n*float64(len(l.sides)) > mostCuts:
		return Plane{}, &events.Refusal{
			Code: "too-many-cuts", Where: firstPoint(p), Was: fmt.Sprintf("%.0f strips across %d sides", n, len(l.sides)),
			Want: "a plane drawn with fewer points, or divided",
		}
	}
	out := Plane{Mark: events.Place(p.Mark), PlanArea: p.PlanArea, Area: p.Area, SlopeFactor: p.SlopeFactor, Height: nanometres(l.top - l.foot), sides: l.sides}
	from, across, shift, err := l.start(r, plan.Starts[p.Mark], plan)
	if err != nil {
		return Plane{}, err
	}
	out.Start, out.Shift = from, nanometres(shift)
	out.Panels = l.panels(across, from)
	for _, start := range []string{FromLeft, FromRight, Centred} {
		out.Choices = append(out.Choices, l.choice(start))
	}
	out.Notes = l.notes(&out)
	return out, nil
}

func tooMany(p *roof.Plane, panels, most int) error {
	return &events.Refusal{Code: "too-many-panels", Where: firstPoint(p), Was: fmt.Sprintf("%d panels", panels), Want: fmt.Sprintf("%d at most", most)}
}

// firstPoint names a plane and where it begins.
func firstPoint(p *roof.Plane) string {
	return fmt.Sprintf("plane %s, point 1 (%s, %s)", p.Mark, p.Outline[0].X, p.Outline[0].Y)
}

// start settles where the panels start and which strips that makes.
func (l *lay) start(r *roof.Roof, s Start, plan Layout) (from string, across []strip, shift float64, err error) {
	from = s.From
	switch from {
	case "":
		from = chooseStart(l)
		if s.Match != "" {
			if edge, ok := sharedEdge(r, l.p.Mark, s.Match); ok {
				from, _ = fromEdge(l, edge)
			}
		}
	case FromLeft, FromRight, Centred:
	default:
		side, ok := fromEdge(l, events.Place(from))
		if !ok {
			return "", nil, 0, &events.Refusal{Code: "unknown-start", Where: "plane " + string(l.p.Mark), Was: from, Want: "left, right, centred, or the mark of one of the plane's edges"}
		}
		from = side
	}
	if s.Match != "" {
		across, err = l.match(r, s.Match, from, plan)
		return from, across, 0, err
	}
	across, shift = strips(l.low, l.high, l.cover, l.least, from)
	return from, across, shift, nil
}

// panels makes and marks the panels, strip by strip and in a strip from the bottom up. A
// sheet narrower than a hair is no panel: its area goes to the panel set before it, or
// to the first.
func (l *lay) panels(across []strip, from string) []Panel {
	all := make([]Panel, 0, len(across)+len(across)/4)
	areas := make([]float64, 0, len(across))
	spare := 0.0
	for k, s := range across {
		for _, sheet := range l.cut.slabs(l.sides, s.left, s.right) {
			area := 0.0
			for i := range sheet {
				area += sheet[i].area()
			}
			switch thin := sheet[len(sheet)-1].right-sheet[0].left <= hair; {
			case thin && len(areas) == 0:
				spare += area
				continue
			case thin:
				areas[len(areas)-1] += area
				continue
			}
			p := l.panel(sheet, from)
			p.strip = k
			all = append(all, p)
			areas = append(areas, area+spare)
			spare = 0
		}
	}
	shareOut(all, areas)
	digits := max(2, len(fmt.Sprint(len(all))))
	for i := range all {
		all[i].Mark = events.PieceMark(fmt.Sprintf("%s-%0*d", l.p.Mark, digits, i+1))
	}
	return all
}

// shareOut rounds the areas so that their sum is the rounded sum.
func shareOut(all []Panel, areas []float64) {
	const unit = 1e10 // square nanometres in one unit of Area
	run, given := 0.0, quantity.Area(0)
	for i := range all {
		run += areas[i] / unit
		all[i].Area = quantity.Area(math.Round(run)) - given
		given += all[i].Area
	}
}

// lengths are the cut lengths of one start, in order of setting.
func (l *lay) lengths(from string) []quantity.Length {
	if all, ok := l.tried[from]; ok {
		return all
	}
	across, _ := strips(l.low, l.high, l.cover, l.least, from)
	all := make([]quantity.Length, 0, len(across)+len(across)/4)
	for _, s := range across {
		for _, sheet := range l.cut.slabs(l.sides, s.left, s.right) {
			if sheet[len(sheet)-1].right-sheet[0].left <= hair {
				continue
			}
			low, high := l.cut.ends(sheet)
			all = append(all, reachOf(&l.a.Panel, low, high).cutLength())
		}
	}
	l.tried[from] = all
	return all
}

func (l *lay) choice(from string) Choice {
	across, _ := strips(l.low, l.high, l.cover, l.least, from)
	lengths := l.lengths(from)
	last := across[len(across)-1]
	c := Choice{Start: from, Panels: len(lengths), Cut: sum(lengths), Last: min(nanometres(last.right-last.left), l.a.Panel.Cover)}
	c.Offcut = quantity.Area(math.Round(float64(c.Cut)*l.cover/1e10)) - l.p.Area
	return c
}

// notes tell of the shift and of slivers.
func (l *lay) notes(out *Plane) []string {
	var notes []string
	if out.Shift > 0 {
		notes = append(notes, fmt.Sprintf("The start is shifted by %s: the first and the last panel cover %s each, instead of a sliver under %s at the end.",
			out.Shift.Nearest(16), (l.a.Panel.Cover-out.Shift).Nearest(16), quantity.Length(l.least)))
	}
	for i := range out.Panels {
		if p := &out.Panels[i]; float64(p.Cover) < l.least-hair {
			notes = append(notes, fmt.Sprintf("Panel %s is a sliver: it covers %s, under %s.", p.Mark, p.Cover.Nearest(16), quantity.Length(l.least)))
		}
	}
	return notes
}
