package roofjob

import (
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

// Left is how a day ended: what was left open, by whose word.
type Left struct {
	At         time.Time
	By         events.PersonID
	Open       []events.Place
	AcceptedBy string
	Reason     string
}

// Places are all planes as drawn, then all edges; nil before the job has a drawing.
func (s *State) Places() []Place {
	f := &s.now
	if f.drawing == nil {
		return nil
	}
	places := make([]Place, 0, len(f.drawing.order))
	planes := map[events.Place]*Place{}
	for _, mark := range f.drawing.order {
		p := f.place(mark)
		if p.Kind == assembly.PlaneKind {
			p.State = f.planeState(&p)
		}
		places = append(places, p)
	}
	for i := range places {
		if places[i].Kind == assembly.PlaneKind {
			planes[places[i].Mark] = &places[i]
		}
	}
	for i := range places {
		if places[i].Kind != assembly.PlaneKind {
			f.edgeState(&places[i], planes)
		}
		if places[i].IsOpen() && !places[i].Covered.IsZero() {
			places[i].State = Covered
		}
		if places[i].Kind != assembly.PlaneKind {
			coverWith(&places[i], planes)
		}
	}
	return places
}

// Place finds one place; false for a mark that the drawing lacks.
func (s *State) Place(mark events.Place) (Place, bool) {
	for _, p := range s.Places() {
		if p.Mark == mark {
			return p, true
		}
	}
	return Place{}, false
}

func (f *fold) place(mark events.Place) Place {
	w := f.at(mark)
	p := Place{
		Mark: mark, Kind: f.drawing.kinds[mark], Planes: f.drawing.planes[mark], Extent: f.extent(mark, ""),
		Opened: w.opened, Covered: w.covered, Claimed: w.claimed,
	}
	if none, err := p.Extent.Sub(p.Extent); err == nil && p.Opened == (quantity.Amount{}) {
		p.Opened = none
	}
	for _, step := range f.drawing.steps(mark) {
		done := Step{ID: step.ID, Does: step.Does, Kind: step.Kind, Becomes: step.Becomes, Of: f.extent(mark, step.ID)}
		if none, err := done.Of.Sub(done.Of); err == nil {
			done.Done, done.Over = none, none
		}
		if had := w.done[step.ID]; had != nil {
			done.Done, done.Over, done.First, done.Last = had.done, had.over, had.first, had.last
		}
		if least, err := quantity.Least(done.Done, done.Of); err == nil {
			done.Done = least
		}
		p.Steps = append(p.Steps, done)
	}
	return p
}

// reached is what the steps that are complete, from the first on, make of a place.
func reached(steps []Step) string {
	state := ""
	for _, s := range steps {
		if !s.Complete() {
			break
		}
		if s.Becomes != "" {
			state = s.Becomes
		}
	}
	return state
}

func (f *fold) planeState(p *Place) string {
	begun := p.Opened.Sign() > 0
	for _, s := range p.Steps {
		begun = begun || s.Done.Sign() > 0
	}
	if !begun {
		return Untouched
	}
	if state := reached(p.Steps); state == assembly.DriedIn || state == assembly.WeatherTight {
		return state
	}
	if p.Opened.Sign() > 0 && driedInTurn(p.Steps) >= p.OpenedShare()-1e-9 {
		// Part of the deck was opened, and just that part is under felt or panels.
		return assembly.DriedIn
	}
	return assembly.Open
}

// driedInTurn is the share of a plane on which every step was done up to one that keeps
// rain out.
func driedInTurn(steps []Step) float64 {
	dried, turn := 0.0, 1.0
	for _, s := range steps {
		turn = min(turn, s.Fraction())
		if s.Becomes == assembly.DriedIn || s.Becomes == assembly.WeatherTight {
			dried = max(dried, turn)
		}
	}
	return dried
}

// edgeState says what an edge is: its own steps' word, or dried-in where a plane at it is and
// none lies bare.
func (f *fold) edgeState(p *Place, planes map[events.Place]*Place) {
	begun, dried, bare := false, false, false
	panels := f.drawing.panels().ID
	for _, mark := range p.Planes {
		plane := planes[mark]
		begun = begun || plane.State != Untouched
		// Where a plane is untouched its old roof keeps the rain out.
		dried = dried || plane.State == assembly.DriedIn || plane.State == assembly.WeatherTight
		bare = bare || plane.State == assembly.Open
		for _, s := range plane.Steps {
			p.Panelled = p.Panelled || s.ID == panels && s.Done.Sign() > 0
		}
	}
	for _, s := range p.Steps {
		begun = begun || s.Done.Sign() > 0
	}
	switch state := reached(p.Steps); {
	case !begun:
		p.State = Untouched
	case state == assembly.WeatherTight:
		p.State = state
	case state == assembly.DriedIn || dried && !bare:
		p.State = assembly.DriedIn
	default:
		p.State = assembly.Open
	}
}

// coverWith covers an edge with the planes beside it: one at which no deck lies bare but under
// their covers. An edge that panels lie at is a way in of its own, which a cover on the plane
// is not said to close.
func coverWith(p *Place, planes map[events.Place]*Place) {
	if p.Panelled || p.State != assembly.Open && p.State != assembly.DriedIn || reached(p.Steps) == assembly.DriedIn {
		return
	}
	var last *Place
	for _, mark := range p.Planes {
		switch plane := planes[mark]; {
		case plane.State == assembly.Open:
			return
		case plane.State == Covered && (last == nil || plane.Covered.After(last.Covered)):
			last = plane
		}
	}
	if last != nil {
		p.State, p.Covered, p.CoverOf = Covered, last.Covered, last.Mark
	}
}

// inTurn raises an item, one for a step at a place, where a step was worked on before what comes first: a step
// before it at the same place, or one at the planes or edges beside it.
func (f *fold) inTurn(e events.Event, place events.Place, id events.StepID) {
	if f.drawing == nil {
		return
	}
	step, turn, ok := f.drawing.step(place, id)
	if !ok {
		return
	}
	late := f.skipped(place, step, turn)
	key := string(place) + "/" + string(id)
	if len(late) == 0 || f.hasty[key] {
		return
	}
	f.hasty[key] = true
	what := "Done before its turn: " + string(id) + " at " + string(place) + " while "
	for i, l := range late {
		if i > 0 {
			what += ", "
		}
		what += l
	}
	f.raise(e, place, what+" was not done. Look whether what lies beneath is right.", events.BlocksCloseout)
}

func (f *fold) skipped(place events.Place, step assembly.Step, turn int) []string {
	var late []string
	mine := f.fraction(place, step.ID)
	for _, before := range f.drawing.steps(place)[:turn] {
		// A panel stands for a strip of the plane, so that counts and areas of one
		// plane are compared by their share of the whole; a step is not late while it
		// keeps ahead.
		if f.fraction(place, before.ID) < mine-1e-9 {
			late = append(late, string(before.ID))
		}
	}
	kind := f.drawing.kinds[place]
	for _, id := range step.AfterPlane {
		for _, plane := range f.drawing.planes[place] {
			done := f.fraction(plane, id)
			lengthwise := kind == string(roof.Eave) || kind == string(roof.Ridge) || kind == string(roof.Wall) || kind == string(roof.Break)
			if done == 0 || lengthwise && done < mine-1e-9 {
				late = append(late, string(id)+" on "+string(plane))
			}
		}
	}
	for _, edge := range f.drawing.edges[place] {
		for _, id := range step.AfterEdge[f.drawing.kinds[edge]] {
			if f.fraction(edge, id) < 1 {
				late = append(late, string(id)+" at "+string(edge))
			}
		}
	}
	return late
}

func (f *fold) fraction(place events.Place, id events.StepID) float64 {
	p := f.at(place).done[id]
	if p == nil {
		return 0
	}
	return quantity.Fraction(p.done, f.extent(place, id))
}

// Roof is the drawing in force; nil before there is one.
func (s *State) Roof() *roof.Roof {
	if s.now.drawing == nil {
		return nil
	}
	return s.now.drawing.roof
}

// Assembly is how the roof is built now; nil before there is a drawing.
func (s *State) Assembly() *assembly.Assembly {
	if s.now.drawing == nil {
		return nil
	}
	return s.now.drawing.assembly
}

// Estimate is the takeoff of the drawing in force; First the one that counts as the
// first estimate. Both are nil before there is a drawing.
func (s *State) Estimate() *takeoff.Estimate {
	if s.now.drawing == nil {
		return nil
	}
	return s.now.drawing.estimate
}

// First is the estimate against which the ledger holds what is used.
func (s *State) First() *takeoff.Estimate { return s.now.first.read(s.drawings) }

// Closed is when the job was closed; zero while it is not.
func (s *State) Closed() time.Time { return s.now.closed }

// Day is the day under way and when it started; nil when none is.
func (s *State) Day() (*events.DayStarted, time.Time) { return s.now.day, s.now.dayAt }

// LeftOpen is how the last day ended; nil while a day is under way or none ever was.
func (s *State) LeftOpen() *Left { return s.now.left }

// PlannedHeads is how many people are planned; zero when nothing is.
func (s *State) PlannedHeads() int { return s.now.heads }
