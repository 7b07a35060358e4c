package takeoff

import (
	"fmt"
	"math"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// Demand is the need of one material by one step at one place.
type Demand struct {
	Place    events.Place
	Step     events.StepID
	Material events.MaterialID
	// Net is what stays on the roof; Laps is what lies double or is cut off beside it at
	// this place, before stock lengths are shared with other places.
	Net, Laps quantity.Amount
	// Basis is how it was reckoned, in one sentence with the numbers in it.
	Basis string

	pieces []quantity.Length // what is cut of stock lengths
}

type need struct {
	net, laps quantity.Amount
	basis     string
	pieces    []quantity.Length
}

// demand adds a need; the same material twice in one step makes one demand.
func (e *Estimate) demand(place events.Place, step events.StepID, material events.MaterialID, n need) {
	for i := len(e.Demands) - 1; i >= 0; i-- {
		d := &e.Demands[i]
		if d.Place != place || d.Step != step {
			break
		}
		if d.Material == material {
			d.Net, d.Laps = plus(d.Net, n.net), plus(d.Laps, n.laps)
			d.Basis += "; " + n.basis
			d.pieces = append(d.pieces, n.pieces...)
			return
		}
	}
	e.Demands = append(e.Demands, Demand{place, step, material, n.net, n.laps, n.basis, n.pieces})
}

// plus adds amounts of one material. They are alike, since assembly.Read lets a use only
// have a material of its own unit, and fit, since a roof lies within its reach.
func plus(a, b quantity.Amount) quantity.Amount {
	sum, err := a.Add(b)
	if err != nil {
		panic(fmt.Sprintf("takeoff: %s and %s: %v", a, b, err))
	}
	return sum
}

func eachNeed(n int64, format string, args ...any) need {
	return need{net: quantity.Pieces(n), laps: quantity.Pieces(0), basis: fmt.Sprintf(format, args...) + fmt.Sprintf(": %d", n)}
}

// onPlane is what a use takes on a plane; false when its rule is one for edges.
func (e *Estimate) onPlane(a *assembly.Assembly, p *Plane, u assembly.Use) (need, bool) {
	m, _ := a.Material(u.Material)
	times := int64(u.Times())
	switch u.Per {
	case assembly.PerArea:
		return e.onArea(p, m, u), true
	case assembly.PerSquare:
		n := int64(math.Ceil(float64(p.Area) / float64(quantity.Square) * float64(times)))
		return eachNeed(n, "plane %s is %.2f squares at %d each", p.Mark, p.Area.SquareFeet()/100, times), true
	case assembly.PerPanel:
		n := int64(0)
		for i := range p.Panels {
			n += int64(u.CountFor(p.Panels[i].Cover))
		}
		return eachNeed(n, "%d panels of plane %s%s", len(p.Panels), p.Mark, perPanel(u)), true
	case assembly.PerClip:
		clips, basis := e.clips(p, u.Clips)
		if times > 1 {
			return eachNeed(clips*times, "%s, %d for each of %d clips", basis, times, clips), true
		}
		return eachNeed(clips, "%s", basis), true
	case assembly.PerCut:
		n := need{laps: quantity.OfLength(0)}
		longest, sum := quantity.Length(0), quantity.Length(0)
		for i := range p.Panels {
			l := p.Panels[i].Length
			n.pieces = append(n.pieces, l)
			sum, longest = sum+l, max(longest, l)
		}
		n.net = quantity.OfLength(sum)
		n.basis = fmt.Sprintf("%d panels of plane %s, the longest %s, cut lengths together %s", len(p.Panels), p.Mark, longest, sum)
		return n, true
	}
	return need{}, false
}

func (e *Estimate) onArea(p *Plane, m *assembly.Material, u assembly.Use) need {
	c := e.cut.courses(p, m, u)
	laps := max(c.area-p.Area, 0)
	return need{
		net: quantity.OfArea(p.Area), laps: quantity.OfArea(laps),
		basis: fmt.Sprintf("plane %s is %s on the slope; %d courses of %s, %s to the weather, together %s long with %d end laps of %s: %s off the roll",
			p.Mark, feet2(p.Area), c.count, m.Width, m.Width-u.SideLap, c.length.Nearest(16), c.joins, u.EndLap, feet2(c.area)),
	}
}

func feet2(a quantity.Area) string { return fmt.Sprintf("%.1f sqft", a.SquareFeet()) }

func perPanel(u assembly.Use) string {
	if len(u.ByCover) > 0 {
		return ", by their cover"
	}
	return fmt.Sprintf(", %d each", u.Times())
}

// atEdge is what a use takes at an edge; false when its rule is one for planes.
func (e *Estimate) atEdge(a *assembly.Assembly, g *Edge, u assembly.Use) (need, bool) {
	m, _ := a.Material(u.Material)
	times, oneSide := timesAt(g, u)
	length := g.Length.Nearest(16)
	switch u.Per {
	case assembly.PerStrip:
		return e.onStrip(g, m, u), true
	case assembly.PerLength:
		return e.inLengths(g, m, u), true
	case assembly.PerBead:
		return need{
			net: quantity.OfLength(g.Length * quantity.Length(times)), laps: quantity.OfLength(0),
			basis: fmt.Sprintf("%s of %s, %d beads%s", length, g.Mark, times, oneSide),
		}, true
	case assembly.PerSpacing:
		n := (int64((g.Length+u.Spacing-1)/u.Spacing) + 1) * times
		return eachNeed(n, "%s of %s at %s and one at the end, %d rows%s", length, g.Mark, u.Spacing, times, oneSide), true
	case assembly.PerPanel:
		n, panels := int64(0), 0
		for _, panel := range e.panelsAt(g.Mark) {
			n += int64(u.CountFor(panel.Cover))
			panels++
		}
		return eachNeed(n, "%d panel ends at %s%s", panels, g.Mark, perPanel(u)), true
	case assembly.PerJoint:
		joints := jointsOf(a, g, u.Of)
		return eachNeed(joints*int64(u.Times()), "%d joints in the %s of %s, %d each", joints, u.Of, g.Mark, u.Times()), true
	}
	return need{}, false
}

// timesAt is how many runs, rows or beads an edge takes. At a ridge or hip with one plane
// only, as a single slope has, what is said for both sides (two, four) is halved.
func timesAt(g *Edge, u assembly.Use) (times int64, oneSide string) {
	times = int64(u.Times())
	if len(g.Planes) == 1 && times%2 == 0 && (g.Kind == string(roof.Ridge) || g.Kind == string(roof.Hip)) {
		return times / 2, " (panels on one side only)"
	}
	return times, ""
}

func (e *Estimate) onStrip(g *Edge, m *assembly.Material, u assembly.Use) need {
	times, _ := timesAt(g, u)
	why := fmt.Sprintf("%d strips of %s", times, u.Width)
	if g.Kind == string(roof.Eave) && e.layout.Overhang > 0 {
		reach := IceReach(e.slopeFactor(g), e.layout.Overhang, e.layout.Wall)
		times = iceCourses(reach, u.Width, u.SideLap)
		why = fmt.Sprintf("%d strips of %s to reach %s up the slope, 24\" inside the wall (IRC R905.1.2)", times, u.Width, reach.Nearest(16))
	}
	run := g.Length * quantity.Length(times)
	n := joins(g.Length, rollLength(m), u.EndLap) * times
	return need{
		net:   quantity.OfArea(rectangle(run, u.Width)),
		laps:  quantity.OfArea(rectangle(u.EndLap*quantity.Length(n), u.Width)),
		basis: fmt.Sprintf("%s of %s, %s, %d end laps of %s", g.Length.Nearest(16), g.Mark, why, n, u.EndLap),
	}
}

// slopeFactor is the steepest of the edge's planes'.
func (e *Estimate) slopeFactor(g *Edge) float64 {
	factor := 1.0
	for _, mark := range g.Planes {
		for i := range e.Planes {
			if e.Planes[i].Mark == mark {
				factor = max(factor, e.Planes[i].SlopeFactor)
			}
		}
	}
	return factor
}

func (e *Estimate) inLengths(g *Edge, m *assembly.Material, u assembly.Use) need {
	times, oneSide := timesAt(g, u)
	runs := ""
	if times > 1 || oneSide != "" {
		runs = fmt.Sprintf(", %d runs%s", times, oneSide)
	}
	net := quantity.OfLength(g.Length * quantity.Length(times))
	if !isCutToLength(m) {
		return need{net: net, laps: quantity.OfLength(0), basis: fmt.Sprintf("%s of %s%s", g.Length.Nearest(16), g.Mark, runs)}
	}
	stock, returns := m.Pack.Holds.Length(), quantity.Length(0)
	said := ""
	if e.layout.EndReturn > 0 {
		returns = 2 * e.layout.EndReturn
		said = fmt.Sprintf(", returned %s at both ends", e.layout.EndReturn)
	}
	one := runPieces(g.Length+returns, stock, u.EndLap)
	n := need{net: net, basis: fmt.Sprintf("%s of %s%s%s, %d lengths of %s a run lapped %s", g.Length.Nearest(16), g.Mark, runs, said, len(one), stock, u.EndLap)}
	var laps quantity.Length
	for range times {
		n.pieces = append(n.pieces, one...)
		laps += sum(one) - g.Length
	}
	n.laps = quantity.OfLength(laps)
	return n
}

// jointsOf counts the joints between stock lengths of a material at an edge.
func jointsOf(a *assembly.Assembly, g *Edge, of events.MaterialID) int64 {
	m, ok := a.Material(of)
	if !ok || m.Pack.Holds.Length() <= 0 {
		return 0
	}
	joints := int64(0)
	for _, s := range a.Steps(g.Kind) {
		for _, u := range s.Uses {
			if u.Material == of && u.Per == assembly.PerLength {
				times, _ := timesAt(g, u)
				joints += times * (pieces(g.Length, m.Pack.Holds.Length(), u.EndLap) - 1)
			}
		}
	}
	return joints
}

// panelsAt are the panels with an end, or a part of one, at an edge.
func (e *Estimate) panelsAt(mark events.Place) []*Panel {
	if e.at == nil {
		e.at = map[events.Place][]*Panel{}
		for i := range e.Planes {
			for k := range e.Planes[i].Panels {
				p := &e.Planes[i].Panels[k]
				for _, m := range p.meets {
					if m.width > hair {
						e.at[m.place] = append(e.at[m.place], p)
					}
				}
			}
		}
	}
	return e.at[mark]
}
