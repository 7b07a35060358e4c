package roofjob

import (
	"bytes"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// isWork tells whether somebody worked on the roof.
func isWork(b events.Body) bool {
	switch b.(type) {
	case events.DeckOpened, events.LayerLaid, events.PanelCut, events.PanelSet, events.TrimInstalled, events.SealMade, events.CoverPlaced, events.CoverRemoved:
		return true
	}
	return false
}

// apply folds one effective event in, the latest so far.
func (f *fold) apply(s *State, e events.Event) error {
	if events.Warning(e.Body) {
		f.warnings = append(f.warnings, e)
		return nil
	}
	if e.At.After(f.latest) {
		f.latest = e.At
	}
	if !f.closed.IsZero() && isWork(e.Body) {
		f.odd(e, "", "It happened after the job was closed. Open the job again if work goes on.")
	}
	switch b := e.Body.(type) {
	case events.JobOpened:
		f.opened, f.latest = &b, time.Time{}
		return f.draw(s, b.Roof, b.Assembly)
	case events.RoofDrawn:
		return f.draw(s, b.Roof, f.buildDoc)
	case events.AssemblyChosen:
		if err := f.draw(s, f.roofDoc, b.Assembly); err != nil {
			return err
		}
		f.reckonAnew(e)
	case events.EstimateIssued:
		if f.drawing != nil {
			f.first, f.issued = sheet{f.roofDoc, f.buildDoc, f.likely(), f.drawing.estimate}, e.At
		}
	case events.CrewPlanned:
		f.heads = b.Heads
	case events.JobClosed:
		f.closed = e.At
	case events.JobReopened:
		f.closed = time.Time{}
	case events.DayStarted:
		if f.day == nil || e.At.Sub(f.dayAt) > longestDay {
			f.dayAt = e.At
		} else if b.LeaveBy.IsZero() {
			b.LeaveBy = f.day.LeaveBy // the lead's word stands until the lead says another
		}
		f.day, f.left = &b, nil
		f.days++
	case events.DayEnded:
		f.day, f.left = nil, &Left{At: e.At, By: e.By, Open: b.LeftOpen, AcceptedBy: b.AcceptedBy, Reason: b.Reason}
		f.unnamed(s, e, b)
	case events.CheckSigned:
		f.signed[b.Check] = Signature{At: e.At, By: e.By, Report: e.ID, Photos: b.Photos}
	case events.PhotoAttached:
		f.photos[b.To] = append(f.photos[b.To], b.Photo)
	case events.ReportWithdrawn:
		// Its effect is that another event is not applied.
	default:
		f.applyWork(e)
		f.applyMaterial(e)
		f.applyOffcuts(e)
		f.applyPunch(e)
		if m, ok := b.(events.MeasureTaken); ok {
			f.gauge(s, e, m)
		}
	}
	return nil
}

// draw takes a roof and an assembly as they are from now on.
func (f *fold) draw(s *State, roofDoc, buildDoc []byte) error {
	if len(roofDoc) == 0 || len(buildDoc) == 0 {
		// What opens a job comes first and brings both; without it nothing is decided.
		return nil
	}
	w, err := s.drawings.of(roofDoc, buildDoc)
	if err != nil {
		return err
	}
	if !bytes.Equal(f.roofDoc, roofDoc) {
		// The new drawing has what was measured on the roof before it.
		f.tape = nil
	}
	f.roofDoc, f.buildDoc, f.drawn, f.drawing, f.resolved = roofDoc, buildDoc, w, w, nil
	if f.first.isBlank() {
		f.first = sheet{roofDoc: roofDoc, buildDoc: buildDoc, estimate: w.estimate}
	}
	// An assembly that cannot be built on the roof as measured is built on it as drawn,
	// where it was read before it was chosen.
	if err := f.settle(s); err != nil {
		f.tape = nil
	}
	return nil
}

func (f *fold) at(place events.Place) *work {
	w := f.work[place]
	if w == nil {
		w = &work{done: map[events.StepID]*progress{}}
		f.work[place] = w
	}
	return w
}

// applyWork folds what was done on the roof.
func (f *fold) applyWork(e events.Event) {
	switch b := e.Body.(type) {
	case events.DeckOpened:
		f.openDecks(e, b)
	case events.LayerLaid:
		f.advance(e, b.Where, b.Step, b.Amount)
	case events.TrimInstalled:
		f.advance(e, b.Where, b.Step, b.Amount)
	case events.SealMade:
		f.advance(e, b.Where, b.Step, b.Amount)
	case events.PanelCut:
		f.cut(e, b)
	case events.PanelSet:
		f.set(e, b)
	case events.CoverPlaced:
		f.cover(b.Where, e.At)
	case events.CoverRemoved:
		f.cover(b.Where, time.Time{})
	case events.WeatherTightReached:
		for _, place := range f.placesAt(b.Where) {
			f.at(place).claimed = e.At
		}
	}
}

// placesAt is the place itself, or every place for the whole roof.
func (f *fold) placesAt(where events.Place) []events.Place {
	if where != events.WholeRoof {
		return []events.Place{where}
	}
	if f.drawing == nil {
		return nil
	}
	return f.drawing.order
}

func (f *fold) planesAt(where events.Place) []events.Place {
	if where != events.WholeRoof || f.drawing == nil {
		return []events.Place{where}
	}
	var planes []events.Place
	for _, p := range f.drawing.order {
		if f.drawing.isPlane(p) {
			planes = append(planes, p)
		}
	}
	return planes
}

func (f *fold) cover(where events.Place, at time.Time) {
	for _, place := range f.placesAt(where) {
		f.at(place).covered = at
	}
}

// extent is how much of a step there is at a place; zero where the drawing in force
// has no such step.
func (f *fold) extent(place events.Place, step events.StepID) quantity.Amount {
	if f.drawing == nil {
		return quantity.Amount{}
	}
	return f.drawing.estimate.Extent(place, step)
}

// advance moves a step on. A layer of a plane's edges, reported by the plane, is
// shared out over those edges that still lack it.
func (f *fold) advance(e events.Event, where events.Place, id events.StepID, said *quantity.Amount) {
	targets := f.targets(where, id)
	for i, place := range targets {
		rest := f.advanceAt(e, place, id, said)
		if said == nil {
			continue
		}
		if rest.Sign() <= 0 {
			return
		}
		said = &rest
		if i == len(targets)-1 {
			p := f.progress(place, id)
			if over, err := p.over.Add(rest); err == nil {
				p.over = over
			}
		}
	}
}

// targets are the places at which a step reported at where is done.
func (f *fold) targets(where events.Place, id events.StepID) []events.Place {
	if f.drawing == nil {
		return []events.Place{where}
	}
	if _, _, ok := f.drawing.step(where, id); ok || !f.drawing.isPlane(where) {
		return []events.Place{where}
	}
	var edges []events.Place
	for _, edge := range f.drawing.edges[where] {
		if step, _, ok := f.drawing.step(edge, id); ok && step.Kind == assembly.Layer {
			edges = append(edges, edge)
		}
	}
	return edges
}

// advanceAt moves a step on at one place and gives what is left of the amount.
func (f *fold) advanceAt(e events.Event, place events.Place, id events.StepID, said *quantity.Amount) quantity.Amount {
	p := f.progress(place, id)
	whole := f.extent(place, id)
	before := p.done
	defer func() { f.timed(e, place, id, before, p.done) }()
	p.last = e.At
	if p.first.IsZero() {
		p.first = e.At
	}
	var rest quantity.Amount
	if said == nil {
		p.done = whole
	} else {
		sum, err := p.done.Add(*said)
		if err == nil {
			rest, err = sum.Sub(whole)
		}
		if err != nil {
			// The drawing changed under the report: its unit no longer fits the step.
			f.odd(e, place, "it was reported in a unit that the step no longer has")
			return quantity.Amount{}
		}
		p.done = sum
		if rest.Sign() > 0 {
			p.done = whole
		}
	}
	f.inTurn(e, place, id)
	return rest
}

func (f *fold) progress(place events.Place, id events.StepID) *progress {
	w := f.at(place)
	p := w.done[id]
	if p == nil {
		p = new(progress)
		w.done[id] = p
	}
	return p
}

// timed notes a report of work for what it teaches about the crew's pace.
func (f *fold) timed(e events.Event, place events.Place, id events.StepID, before, after quantity.Amount) {
	if f.drawing == nil || f.day == nil {
		return
	}
	step, _, ok := f.drawing.step(place, id)
	done, err := after.Sub(before)
	if !ok || err != nil || done.Sign() <= 0 {
		return
	}
	given := float64(step.Rate.Minutes) * done.Plain() / step.Rate.For.Plain()
	f.timing.hear(worked{at: e.At, heads: f.day.Heads, began: f.dayAt, step: id, given: given})
}

// longestDay is how long after a day began another start of it only changes it; one that
// comes later begins the next day, though nobody ended the last.
const longestDay = 14 * time.Hour
