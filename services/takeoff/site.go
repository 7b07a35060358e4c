package takeoff

import (
	"fmt"
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// site is what a step runs along: an edge, or a part of an opening's border.
type site struct {
	place  events.Place
	said   string // the place in words, with the part
	kind   string
	planes []events.Place
	// runs are its unbroken lengths, corners how many ends of them are folded round an
	// outside corner.
	runs    []quantity.Length
	corners int64
	// panels are those that end here.
	panels []*Panel
	// opening is the opening it is a part of; nil for an edge.
	opening *Opening
}

func (s *site) length() quantity.Length { return sum(s.runs) }

func (e *Estimate) edgeSite(g *Edge) *site {
	return &site{
		place: g.Mark, said: string(g.Mark), kind: g.Kind, planes: g.Planes, runs: []quantity.Length{g.Length},
		corners: int64(g.corners), panels: e.panelsAt(g.Mark, ""),
	}
}

// openingSite is the part of an opening along which a step runs. An opening's corners are
// all outside: each run of a part has one at either end, and the whole border four.
func (e *Estimate) openingSite(o *Opening, step *assembly.Step) *site {
	s := &site{place: o.Mark, said: string(o.Mark), kind: o.Kind, planes: []events.Place{o.Plane}, runs: o.runs(step.Along), panels: e.panelsAt(o.Mark, step.Along), opening: o}
	if step.Along != "" && step.Along != assembly.Round {
		s.said += " (" + step.Along + ")"
		s.corners = 2 * int64(len(s.runs))
	} else if o.Kind != string(roof.PipeKind) {
		s.corners = 4
	}
	return s
}

// panelsAt are the panels with an end, or a part of one, at a place; at an opening's apron
// those that end below it, at its head those that begin above it.
func (e *Estimate) panelsAt(mark events.Place, along string) []*Panel {
	if e.at == nil {
		e.at = map[events.Place][]*Panel{}
		for i := range e.Planes {
			for k := range e.Planes[i].Panels {
				p := &e.Planes[i].Panels[k]
				for _, m := range p.meets {
					if m.low+m.high > hair {
						e.at[m.place] = append(e.at[m.place], p)
					}
				}
			}
		}
	}
	if along != assembly.Apron && along != assembly.Head {
		return e.at[mark]
	}
	var some []*Panel
	for _, p := range e.at[mark] {
		if slices.ContainsFunc(p.meets, func(m meet) bool {
			return m.place == mark && (along == assembly.Apron && m.high > hair || along == assembly.Head && m.low > hair)
		}) {
			some = append(some, p)
		}
	}
	return some
}

// atSite is what a use takes at an edge or opening; false when its rule is one for planes,
// or the place has no such part.
func (e *Estimate) atSite(a *assembly.Assembly, s *site, steps []assembly.Step, u assembly.Use) (need, bool) {
	if len(s.runs) == 0 {
		return need{}, false
	}
	m, _ := a.Material(u.Material)
	times, oneSide := timesAt(s, u)
	length := s.length().Nearest(16)
	switch u.Per {
	case assembly.PerStrip:
		return e.onStrip(s, m, u), true
	case assembly.PerLength:
		return e.inLengths(s, m, u), true
	case assembly.PerBead:
		return need{
			net: quantity.OfLength(s.length() * quantity.Length(times)), laps: quantity.OfLength(0),
			basis: fmt.Sprintf("%s of %s, %d beads%s", length, s.said, times, oneSide),
		}, true
	case assembly.PerSpacing:
		n := int64(0)
		for _, run := range s.runs {
			n += (int64((run+u.Spacing-1)/u.Spacing) + 1) * times
		}
		return eachNeed(n, "%s of %s at %s and one at the end%s, %d rows%s", length, s.said, u.Spacing, ofEach(s.runs), times, oneSide), true
	case assembly.PerPanel:
		n := int64(0)
		for _, panel := range s.panels {
			n += int64(u.CountFor(panel.Cover))
		}
		return eachNeed(n, "%d panel ends at %s%s", len(s.panels), s.said, perPanel(u)), true
	case assembly.PerJoint:
		joints := e.jointsOf(a, s, steps, u.Of)
		return eachNeed(joints*int64(u.Times()), "%d joints in the %s of %s, %d each", joints, u.Of, s.said, u.Times()), true
	case assembly.PerCorner:
		return eachNeed(s.corners*int64(u.Times()), "%d outside corners of %s, %d each", s.corners, s.said, u.Times()), s.corners > 0
	case assembly.PerOpening:
		return eachNeed(int64(u.Times()), "%s %s, %s wide, %d each", s.kind, s.place, s.opening.Width.Nearest(16), u.Times()), true
	case assembly.PerCricket:
		return s.opening.cricket(u), true
	}
	return need{}, false
}

func ofEach(runs []quantity.Length) string {
	if len(runs) > 1 {
		return fmt.Sprintf(" of each of %d runs", len(runs))
	}
	return ""
}

// timesAt is how many runs, rows or beads a place takes. At a ridge or hip with one plane
// only, as a single slope has, what is said for both sides (two, four) is halved.
func timesAt(s *site, u assembly.Use) (times int64, oneSide string) {
	times = int64(u.Times())
	if len(s.planes) == 1 && times%2 == 0 && (s.kind == string(roof.Ridge) || s.kind == string(roof.Hip)) {
		return times / 2, " (panels on one side only)"
	}
	return times, ""
}

func (e *Estimate) onStrip(s *site, m *assembly.Material, u assembly.Use) need {
	times, _ := timesAt(s, u)
	why := fmt.Sprintf("%d strips of %s", times, u.Width)
	if s.kind == string(roof.Eave) && e.layout.Overhang > 0 {
		reach := IceReach(e.slopeFactor(s.planes), e.layout.Overhang, e.layout.Wall)
		times = iceCourses(reach, u.Width, u.SideLap)
		why = fmt.Sprintf("%d strips of %s to reach %s up the slope, 24\" inside the wall (IRC R905.1.2)", times, u.Width, reach.Nearest(16))
	}
	returns, said := s.returned(u.EndReturn)
	n := int64(0)
	for _, run := range s.runs {
		n += joins(run, rollLength(m), u.EndLap) * times
	}
	lapped := u.EndLap*quantity.Length(n) + returns*quantity.Length(times)
	return need{
		net:   quantity.OfArea(rectangle(s.length()*quantity.Length(times), u.Width)),
		laps:  quantity.OfArea(rectangle(lapped, u.Width)),
		basis: fmt.Sprintf("%s of %s, %s, %d end laps of %s%s", s.length().Nearest(16), s.said, why, n, u.EndLap, said),
	}
}

// returned is what is folded round the corners, in all and in words.
func (s *site) returned(each quantity.Length) (all quantity.Length, said string) {
	if each == 0 || s.corners == 0 {
		return 0, ""
	}
	noun := "corners"
	if s.corners == 1 {
		noun = "corner"
	}
	return each * quantity.Length(s.corners), fmt.Sprintf(", %s more at each of %d outside %s", each, s.corners, noun)
}

// slopeFactor is the steepest of the planes'.
func (e *Estimate) slopeFactor(planes []events.Place) float64 {
	factor := 1.0
	for _, mark := range planes {
		for i := range e.Planes {
			if e.Planes[i].Mark == mark {
				factor = max(factor, e.Planes[i].SlopeFactor)
			}
		}
	}
	return factor
}

func (e *Estimate) inLengths(s *site, m *assembly.Material, u assembly.Use) need {
	times, oneSide := timesAt(s, u)
	runs := ""
	if times > 1 || oneSide != "" {
		runs = fmt.Sprintf(", %d runs%s", times, oneSide)
	}
	net := quantity.OfLength(s.length() * quantity.Length(times))
	if !isCutToLength(m) {
		return need{net: net, laps: quantity.OfLength(0), basis: fmt.Sprintf("%s of %s%s", s.length().Nearest(16), s.said, runs)}
	}
	stock := m.Pack.Holds.Length()
	_, said := s.returned(e.endReturn(u))
	n := need{net: net}
	var laps quantity.Length
	count := 0
	for i, run := range s.runs {
		one := runPieces(run+s.returnsOf(i)*e.endReturn(u), stock, u.EndLap)
		count += len(one)
		for range times {
			n.pieces = append(n.pieces, one...)
			laps += sum(one) - run
		}
	}
	n.laps = quantity.OfLength(laps)
	n.basis = fmt.Sprintf("%s of %s%s%s, %d lengths of %s%s lapped %s", s.length().Nearest(16), s.said, runs, said, count, stock, ofEachRun(s.runs), u.EndLap)
	return n
}

func ofEachRun(runs []quantity.Length) string {
	if len(runs) > 1 {
		return fmt.Sprintf(" in %d runs", len(runs))
	}
	return " a run"
}

// endReturn is what a trim takes more at an outside corner: as the layout says, or else
// the assembly.
func (e *Estimate) endReturn(u assembly.Use) quantity.Length {
	if e.layout.EndReturn > 0 && u.EndReturn > 0 {
		return e.layout.EndReturn
	}
	return u.EndReturn
}

// returnsOf is at how many of its ends one run is folded: the runs of a place have as many
// corners each.
func (s *site) returnsOf(run int) quantity.Length {
	each := s.corners / int64(len(s.runs))
	if run == 0 {
		each += s.corners % int64(len(s.runs))
	}
	return quantity.Length(each)
}

// jointsOf counts the joints between stock lengths of a material in the steps of a place.
func (e *Estimate) jointsOf(a *assembly.Assembly, s *site, steps []assembly.Step, of events.MaterialID) int64 {
	m, ok := a.Material(of)
	if !ok || m.Pack.Holds.Length() <= 0 {
		return 0
	}
	joints := int64(0)
	for i := range steps {
		at := s
		if s.opening != nil {
			at = e.openingSite(s.opening, &steps[i])
		}
		for _, u := range steps[i].Uses {
			if u.Material != of || u.Per != assembly.PerLength {
				continue
			}
			times, _ := timesAt(at, u)
			for k, run := range at.runs {
				joints += times * (pieces(run+at.returnsOf(k)*e.endReturn(u), m.Pack.Holds.Length(), u.EndLap) - 1)
			}
		}
	}
	return joints
}
