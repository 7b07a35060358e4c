package roofjob

import (
	"time"

	"bydark/events"
	"bydark/events/quantity"
)

// Movement is what became of one material at one job, as reported, in the material's
// own unit.
type Movement struct {
	Ordered, Received, Short, Damaged, Spoiled, Returned, MovedOut quantity.Amount
	// Counted is the last count, CountedAt when, and Expected what should have been
	// there then by the reports.
	Counted, Expected quantity.Amount
	CountedAt         time.Time
}

// Move is material that went to another job.
type Move struct {
	Report   events.ReportID
	At       time.Time
	Recorded time.Time
	Material events.MaterialID
	Amount   quantity.Amount
	To       events.JobID
}

func (f *fold) applyMaterial(e events.Event) {
	switch b := e.Body.(type) {
	case events.MaterialOrdered:
		for _, l := range b.Lines {
			f.add(e, l.Material, l.Amount, func(m *Movement) *quantity.Amount { return &m.Ordered })
			f.order(Order{b.Order, l.Material, f.own(l.Material, l.Amount), l.Due, e.At})
		}
	case events.MaterialReceived:
		for _, l := range b.Lines {
			f.receive(f.receipt(e, b.Order, l))
			f.add(e, l.Material, l.Amount, func(m *Movement) *quantity.Amount { return &m.Received })
			if l.Short != nil {
				f.add(e, l.Material, *l.Short, func(m *Movement) *quantity.Amount { return &m.Short })
				f.odd(e, events.WholeRoof, l.Short.String()+" of "+string(l.Material)+" did not come with order "+b.Order)
			}
			if l.Damaged != nil {
				f.add(e, l.Material, *l.Damaged, func(m *Movement) *quantity.Amount { return &m.Damaged })
				f.odd(e, events.WholeRoof, l.Damaged.String()+" of "+string(l.Material)+" came damaged with order "+b.Order)
			}
		}
	case events.MaterialMoved:
		f.add(e, b.Material, b.Amount, func(m *Movement) *quantity.Amount { return &m.MovedOut })
		f.move(Move{e.ID, e.At, e.Recorded, b.Material, f.own(b.Material, b.Amount), b.To})
	case events.MaterialCounted:
		m := f.movement(b.Material)
		expected, err := f.expected(b.Material)
		if err != nil {
			f.odd(e, events.WholeRoof, "the count of "+string(b.Material)+" cannot be held against what was reported")
			return
		}
		m.Counted, m.CountedAt, m.Expected = f.own(b.Material, b.Amount), e.At, expected
	case events.MaterialSpoiled:
		// A fact, and kept as one; but who typed a digit too many should be found.
		f.doubtSpoiled(e, b)
		f.add(e, b.Material, b.Amount, func(m *Movement) *quantity.Amount { return &m.Spoiled })
	case events.MaterialReturned:
		f.add(e, b.Material, b.Amount, func(m *Movement) *quantity.Amount { return &m.Returned })
	}
}

// doubtSpoiled tells of more spoiled than the reports have at the site.
func (f *fold) doubtSpoiled(e events.Event, b events.MaterialSpoiled) {
	there, err := f.lies(b.Material)
	if err != nil {
		return // the ledger tells of what cannot be reckoned
	}
	was := "none"
	if there.Sign() > 0 {
		was = there.Shown()
		if more, err := f.own(b.Material, b.Amount).Cmp(there); err != nil || more <= 0 {
			return
		}
	}
	f.odd(e, events.WholeRoof, b.Amount.String()+" of "+string(b.Material)+" is told spoiled, and by the reports of this roof "+was+" was there: correct it, or count what is there")
}

// reckonAnew drops what was reported of materials that another assembly reckons in
// other units: it cannot be put together with what follows, and a count begins it again.
func (f *fold) reckonAnew(e events.Event) {
	if f.drawing == nil {
		return
	}
	for i := range f.drawing.assembly.Materials {
		material := &f.drawing.assembly.Materials[i]
		m := f.stock[material.ID]
		if m == nil {
			continue
		}
		none := FromSmallest(material, 0)
		for _, said := range []quantity.Amount{m.Ordered, m.Received, m.Short, m.Damaged, m.Spoiled, m.Returned, m.MovedOut, m.Counted, m.Expected} {
			if _, err := none.Add(said); err != nil {
				delete(f.stock, material.ID)
				f.odd(e, events.WholeRoof, string(material.ID)+" is reckoned in another unit from here on, and "+said.String()+" of it cannot be: count it")
				break
			}
		}
	}
}

func (f *fold) movement(id events.MaterialID) *Movement {
	m := f.stock[id]
	if m == nil {
		m = new(Movement)
		f.stock[id] = m
	}
	return m
}

// own is an amount in the material's own unit; as said where the assembly in force no
// longer knows the material or the unit.
func (f *fold) own(id events.MaterialID, said quantity.Amount) quantity.Amount {
	if f.drawing != nil {
		if m, ok := f.drawing.assembly.Material(id); ok {
			if own, err := m.Amount(said); err == nil {
				return own
			}
		}
	}
	return said
}

func (f *fold) add(e events.Event, id events.MaterialID, said quantity.Amount, field func(*Movement) *quantity.Amount) {
	to := field(f.movement(id))
	sum, err := to.Add(f.own(id, said))
	if err != nil {
		f.odd(e, events.WholeRoof, said.String()+" of "+string(id)+" cannot be put together with what was reported before")
		return
	}
	*to = sum
}

// Movement is what became of one material, as reported.
func (s *State) Movement(id events.MaterialID) Movement {
	if m := s.now.stock[id]; m != nil {
		return *m
	}
	return Movement{}
}

// Moves lists the material that went to other jobs.
func (s *State) Moves() []Move { return s.history().moves }
