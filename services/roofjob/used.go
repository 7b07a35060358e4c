package roofjob

import (
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/takeoff"
)

// Use is how much of a material the work took.
type Use struct {
	// Reported is what cuts tell was used; Implied is what the steps done so far
	// should have taken, net of waste.
	Reported, Implied quantity.Amount
	// Behind is what of the takeoff takes no more of it: as the steps imply, and of panels
	// what is cut or set, piece by piece. Cut is what the pieces that were cut well take by
	// the takeoff, which Reported is held against.
	Behind, Cut quantity.Amount
	// Told tells whether Reported says anything: only cut metal is reported as used.
	Told bool
	// First and Last are the earliest and the latest report of work that took some of it;
	// zero where none did.
	First, Last time.Time
}

// took notes that some of it was used then.
func (u *Use) took(first, last time.Time) {
	if u.First.IsZero() || first.Before(u.First) {
		u.First = first
	}
	if last.After(u.Last) {
		u.Last = last
	}
}

// Taken is the best that is known: what was reported, or else what the steps imply.
func (u Use) Taken() quantity.Amount {
	if u.Told {
		return u.Reported
	}
	return u.Implied
}

// Used is how much of a material the work took so far.
func (s *State) Used(id events.MaterialID) (Use, error) { return s.now.used(id) }

func (f *fold) used(id events.MaterialID) (Use, error) {
	var u Use
	if f.drawing == nil {
		return u, nil
	}
	panels := f.drawing.panels().ID
	for _, d := range f.drawing.estimate.Demands {
		if d.Material != id {
			continue
		}
		part := f.part(d.Place, d.Step, d.Net)
		behind := part
		if d.Step == panels && id == f.drawing.assembly.Panel.Material {
			var cut quantity.Amount
			cut, behind = f.cutOf(d)
			var err error
			if u.Cut, err = u.Cut.Add(cut); err != nil {
				return Use{}, err
			}
		}
		lost, err := f.lost(d.Place, d.Step, d.Net)
		if err != nil {
			return Use{}, err
		}
		if u.Behind, err = u.Behind.Add(behind); err != nil {
			return Use{}, err
		}
		if d.Step == panels && id == f.drawing.assembly.Panel.Material {
			if u.Cut, err = u.Cut.Add(lost); err != nil {
				return Use{}, err
			}
		}
		if part, err = part.Add(lost); err != nil {
			return Use{}, err
		}
		if u.Implied, err = u.Implied.Add(part); err != nil {
			return Use{}, err
		}
		if part.Sign() > 0 {
			p := f.work[d.Place].done[d.Step]
			u.took(p.first, p.last)
		}
	}
	if id != f.drawing.assembly.Panel.Material {
		return u, nil
	}
	if f.metal.beyond {
		return Use{}, quantity.ErrTooMuch
	}
	if f.metal.told {
		u.Reported, u.Told = f.metal.used, true
		u.took(f.metal.first, f.metal.last)
	}
	return u, nil
}

// cutOf is what the panels of a plane take that were cut well, and what of the need those
// take that are cut or set. Where more are told done than are named, the others of the plane
// are behind in that share.
func (f *fold) cutOf(d takeoff.Demand) (cut, behind quantity.Amount) {
	var cutLength, named, all quantity.Length
	var n, count int64
	for i := range f.drawing.estimate.Planes {
		p := &f.drawing.estimate.Planes[i]
		if p.Mark != d.Place {
			continue
		}
		count = int64(len(p.Panels))
		for k := range p.Panels {
			length := p.Panels[k].Length
			all += length
			is := f.panels[p.Panels[k].Mark]
			if is == nil {
				continue
			}
			if !is.cut.IsZero() {
				cutLength += length
			}
			if !is.cut.IsZero() || !is.set.IsZero() {
				named, n = named+length, n+1
			}
		}
	}
	// What the step takes of the metal beside its panels goes by the step.
	beside := f.part(d.Place, d.Step, quantity.OfLength(d.Net.Length()-all)).Length()
	if w := f.work[d.Place]; w != nil && w.done[d.Step] != nil && n < count {
		others, err := w.done[d.Step].done.Sub(quantity.Pieces(n))
		if share, unlike := quantity.OfLength(all-named).Share(others, quantity.Pieces(count-n)); err == nil && unlike == nil {
			named += share.Length()
		}
	}
	if w := f.work[d.Place]; w != nil && w.lifted > 0 {
		// Nobody said which came off: they are to be cut anew in their share.
		if off, err := quantity.OfLength(all).Share(quantity.Pieces(int64(w.lifted)), quantity.Pieces(count)); err == nil {
			named = max(0, named-off.Length())
		}
	}
	return quantity.OfLength(cutLength), quantity.OfLength(named + beside)
}

// part is what a step's progress takes of its need. Where the drawing changed under
// the reports, so that units no longer fit, it took nothing.
func (f *fold) part(place events.Place, step events.StepID, need quantity.Amount) quantity.Amount {
	w := f.work[place]
	if w == nil || w.done[step] == nil {
		return quantity.Amount{}
	}
	part, err := need.Share(w.done[step].done, f.extent(place, step))
	if err != nil {
		return quantity.Amount{}
	}
	return part
}

// lost is what a step's work that was taken off again took of its need, which may be more
// than the whole of it.
func (f *fold) lost(place events.Place, step events.StepID, need quantity.Amount) (quantity.Amount, error) {
	w, whole := f.work[place], f.extent(place, step)
	if w == nil || w.done[step] == nil || whole.Sign() <= 0 {
		return quantity.Amount{}, nil
	}
	var sum quantity.Amount
	for rest := w.done[step].lost; rest.Sign() > 0; {
		part, err := need.Share(rest, whole)
		if err != nil {
			return quantity.Amount{}, nil // of another drawing: it is told as nothing, like work
		}
		if sum, err = sum.Add(part); err != nil {
			return quantity.Amount{}, err
		}
		if rest, err = rest.Sub(whole); err != nil {
			return quantity.Amount{}, err
		}
	}
	return sum, nil
}

// expected is what should lie at the site of a material: what came less what went,
// arrivals from other jobs left out.
func (f *fold) expected(id events.MaterialID) (quantity.Amount, error) {
	use, err := f.used(id)
	if err != nil {
		return quantity.Amount{}, err
	}
	m := f.stock[id]
	if m == nil {
		m = new(Movement)
	}
	left := m.Received
	for _, gone := range []quantity.Amount{use.Taken(), m.Spoiled, m.Returned, m.MovedOut} {
		if left, err = left.Sub(gone); err != nil {
			return quantity.Amount{}, err
		}
	}
	return left, nil
}

// lies is what should lie at the site by the reports and the last count.
func (f *fold) lies(id events.MaterialID) (quantity.Amount, error) {
	left, err := f.expected(id)
	if m := f.stock[id]; err == nil && m != nil && !m.CountedAt.IsZero() {
		if left, err = left.Add(m.Counted); err == nil {
			left, err = left.Sub(m.Expected)
		}
	}
	return left, err
}

// Expected is what should lie at the site of a material by the reports, arrivals from
// other jobs and counts left out.
func (s *State) Expected(id events.MaterialID) (quantity.Amount, error) { return s.now.expected(id) }
