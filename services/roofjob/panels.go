package roofjob

import (
	"time"

	"bydark/events"
	"bydark/events/quantity"
)

// panel is one panel of the takeoff on its way to its place.
type panel struct {
	cut, set time.Time
}

// Cut is one cut of panel metal, as reported.
type Cut struct {
	Report events.ReportID
	At     time.Time
	Piece  events.PieceMark
	Length quantity.Length
	// Used is the metal gone: the length, or a stock length less the offcut kept.
	Used quantity.Length
	// Kept is the offcut that was kept; FromOffcut tells that an earlier one was cut.
	Kept       quantity.Length
	FromOffcut bool
	// Miscut is why the piece cannot be used; empty when it can.
	Miscut string
}

func (f *fold) cut(e events.Event, b events.PanelCut) {
	c := Cut{Report: e.ID, At: e.At, Piece: b.Piece, Length: b.Length, Used: b.Length, FromOffcut: b.From.Offcut != "", Miscut: b.Miscut}
	if b.Offcut != nil {
		c.Kept = *b.Offcut
	}
	if stock, err := quantity.ParseLength(b.From.Stock); err == nil && b.From.Stock != "" {
		c.Used = max(stock-c.Kept, b.Length)
	}
	f.count(c)
	if b.Miscut != "" {
		f.odd(e, f.planeOf(b.Piece), "panel "+string(b.Piece)+" was cut wrong: "+b.Miscut)
		return
	}
	p := f.piece(b.Piece)
	if !p.cut.IsZero() && !f.lifted(f.planeOf(b.Piece)) {
		f.odd(e, f.planeOf(b.Piece), "panel "+string(b.Piece)+" was cut a second time")
	}
	p.cut = e.At
	if want, ok := f.wanted(b.Piece); ok && b.Length < want {
		f.raise(e, f.planeOf(b.Piece), "Panel "+string(b.Piece)+" was cut "+b.Length.String()+"; the takeoff wants "+want.String()+".", events.BlocksNothing)
	}
}

// count takes a cut into what is known of the metal used.
func (f *fold) count(c Cut) {
	if f.told != nil {
		f.told.cuts = append(f.told.cuts, c)
	}
	used := c.Used
	if c.FromOffcut {
		// The offcut's own metal was not counted as used when it was kept.
		used = c.Length
	}
	if !f.metal.told {
		f.metal.told, f.metal.first = true, c.At
	}
	f.metal.last = c.At
	sum, err := f.metal.used.Add(quantity.OfLength(used))
	if err != nil {
		f.metal.beyond = true
		return
	}
	f.metal.used = sum
}

func (f *fold) set(e events.Event, b events.PanelSet) {
	p := f.piece(b.Piece)
	plane := f.planeOf(b.Piece)
	switch {
	case !p.set.IsZero() && f.lifted(plane):
		f.at(plane).lifted--
	case !p.set.IsZero():
		f.odd(e, plane, "panel "+string(b.Piece)+" was set a second time")
		return
	case p.cut.IsZero():
		f.odd(e, plane, "panel "+string(b.Piece)+" was set and no report tells that it was cut")
	}
	p.set = e.At
	if f.drawing == nil {
		return
	}
	step := f.drawing.panels()
	one := quantity.Pieces(1)
	f.advance(e, plane, step.ID, &one)
}

func (f *fold) piece(mark events.PieceMark) *panel {
	p := f.panels[mark]
	if p == nil {
		p = new(panel)
		f.panels[mark] = p
	}
	return p
}

func (f *fold) planeOf(mark events.PieceMark) events.Place {
	if f.drawing != nil {
		if p, ok := f.drawing.pieces[mark]; ok {
			return p.Plane
		}
	}
	return events.WholeRoof
}

func (f *fold) wanted(mark events.PieceMark) (quantity.Length, bool) {
	if f.drawing == nil {
		return 0, false
	}
	p, ok := f.drawing.pieces[mark]
	return p.Length, ok
}

// Cuts are all cuts of panel metal in the order in which they happened.
func (s *State) Cuts() []Cut { return s.history().cuts }

// PanelState tells when a panel was cut and set; zero times when it was not.
func (s *State) PanelState(mark events.PieceMark) (cut, set time.Time) {
	if p := s.now.panels[mark]; p != nil {
		return p.cut, p.set
	}
	return time.Time{}, time.Time{}
}
