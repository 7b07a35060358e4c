package roofjob

import (
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// openDecks lays deck bare. No amount means all that remained; where nothing remains of the
// old roof it is what was laid since that is opened again: a tear-out, or what wind took.
func (f *fold) openDecks(e events.Event, b events.DeckOpened) {
	planes := f.planesAt(b.Where)
	remains := false
	for _, plane := range planes {
		remains = remains || f.remaining(plane).Sign() > 0
	}
	for _, plane := range planes {
		amount := f.extent(plane, "")
		switch {
		case b.Amount != nil:
			amount = *b.Amount
		case remains:
			amount = f.remaining(plane)
		}
		f.openDeck(e, plane, amount)
	}
}

// remaining is how much of a plane the old roof may still lie on: what was neither reported
// open nor worked on.
func (f *fold) remaining(plane events.Place) quantity.Amount {
	w, whole := f.at(plane), f.extent(plane, "")
	none, err := whole.Sub(whole)
	if err != nil || w.stripped || f.drawing == nil {
		return none
	}
	least := whole
	gone := []quantity.Amount{w.opened}
	for _, step := range f.drawing.steps(plane) {
		if p := w.done[step.ID]; p != nil && p.done.Sign() > 0 {
			if laid, err := whole.Share(p.done, f.extent(plane, step.ID)); err == nil {
				gone = append(gone, laid)
			}
		}
	}
	for _, part := range gone {
		rest, err := whole.Sub(part)
		if err != nil {
			continue // of another drawing, in which the plane had another unit
		}
		if rest, err = quantity.Least(least, rest); err == nil {
			least = rest
		}
	}
	if least.Sign() < 0 {
		return none
	}
	return least
}

// openDeck lays so much more of a plane bare: first of what the old roof still lies on,
// then of what was worked on.
func (f *fold) openDeck(e events.Event, plane events.Place, amount quantity.Amount) {
	w, whole, remaining := f.at(plane), f.extent(plane, ""), f.remaining(plane)
	left, err := remaining.Sub(amount)
	if err != nil {
		// The drawing changed under the report: its unit no longer fits the plane.
		left = quantity.Amount{}
	}
	if least, err := quantity.Least(left, remaining); err == nil && left.Sign() > 0 {
		if opened, err := whole.Sub(least); err == nil {
			w.opened = opened
		}
	} else {
		w.opened, w.stripped = whole, whole.Sign() > 0
	}
	if again, err := quantity.Least(left.Neg(), whole); err == nil && again.Sign() > 0 && f.isShut(plane) {
		f.takeBack(e, plane, again)
	}
	f.contradict(e, plane)
	w.bared = e.At
}

// isShut tells whether anything on a plane keeps rain out, or lies on what does.
func (f *fold) isShut(plane events.Place) bool {
	if f.drawing == nil {
		return false
	}
	keeps := false
	for _, step := range f.drawing.steps(plane) {
		keeps = keeps || step.Becomes == assembly.DriedIn || step.Becomes == assembly.WeatherTight
		if p := f.at(plane).done[step.ID]; keeps && p != nil && p.done.Sign() > 0 {
			return true
		}
	}
	return false
}

// takeBack takes an area off every step of a plane: nobody says where on it that lies, so
// none is believed to have been spared. A cover that lay before went with it.
func (f *fold) takeBack(e events.Event, plane events.Place, area quantity.Amount) {
	w, whole := f.at(plane), f.extent(plane, "")
	for _, step := range f.drawing.steps(plane) {
		p := w.done[step.ID]
		if p == nil || p.done.Sign() <= 0 {
			continue
		}
		of := f.extent(plane, step.ID)
		off, err := of.Share(area, whole)
		if err != nil {
			continue
		}
		if step.Kind == assembly.Panels {
			// A panel is on or off.
			off = quantity.Packs((off.Thousandths()+999)/1000*1000, off.Noun())
		}
		before := p.done
		p.fall(of, off)
		if step.Kind == assembly.Panels {
			f.lift(plane, before, p.done)
		}
		delete(f.hasty, string(plane)+"/"+string(step.ID))
	}
	w.covered, w.reopened = time.Time{}, e.At
	f.odd(e, plane, string(plane)+" was opened again: "+area.Shown()+" that was done lies bare")
}

// fall takes so much off what is done of a step of which there is so much, and counts it as
// lost: it took material.
func (p *progress) fall(of, off quantity.Amount) {
	before := p.done
	p.done = quantity.Amount{}
	if had, err := quantity.Least(before, of); err == nil {
		if left, err := had.Sub(off); err == nil && left.Sign() > 0 {
			p.done = left
		}
	}
	lost, err := before.Sub(p.done)
	if err != nil {
		return
	}
	if sum, err := p.lost.Add(lost); err == nil {
		p.lost = sum
	} else {
		p.lost = lost // what was lost before was of another drawing
	}
}

// lift counts panels as off. Where some are left nobody knows which: any that is set again
// counts. Where none is, each is to be cut and set anew: a seam that was opened is not
// folded again (common practice).
func (f *fold) lift(plane events.Place, before, left quantity.Amount) {
	w := f.at(plane)
	if left.Sign() > 0 {
		if off, err := before.Sub(left); err == nil {
			w.lifted += int(off.Thousandths() / 1000)
		}
		return
	}
	w.lifted = 0
	for mark, p := range f.panels {
		if f.planeOf(mark) == plane && !p.set.IsZero() {
			*p = panel{}
		}
	}
}

// lifted tells whether panels of a plane came off of which nobody said which.
func (f *fold) lifted(plane events.Place) bool {
	w := f.work[plane]
	return w != nil && w.lifted > 0
}

// contradict raises an item where a deck lies bare after somebody claimed that it does not.
// A job that was closed is open again: no view is to pass over it.
func (f *fold) contradict(e events.Event, plane events.Place) {
	w := f.at(plane)
	if w.claimed.After(w.bared) {
		f.raise(e, plane, string(plane)+" was claimed weather-tight, and its deck was opened after it: that lies bare until it is laid again.", events.BlocksNight)
	}
	if !f.closed.IsZero() {
		f.raise(e, plane, "The job was closed, and "+string(plane)+" was opened after it: the job counts as open again.", events.BlocksNight)
		f.closed = time.Time{}
	}
}
