package roofjob

import (
	"slices"
	"strings"
	"time"

	"bydark/events"
)

// The states of a punch item.
const (
	ItemOpen     = "open"
	ItemFixed    = "fixed"
	ItemVerified = "verified"
	ItemWaived   = "waived"
)

// Item is one loose end: raised by a person, or by the log itself where a report
// shows something out of tolerance or out of turn.
type Item struct {
	// ID is the id of the report that raised it.
	ID     events.ReportID
	Where  events.Place
	What   string
	Blocks string
	State  string
	// Derived tells that the log raised it, not a person.
	Derived  bool
	Raised   time.Time
	RaisedBy events.PersonID
	Assigned string
	Fixed    time.Time
	FixedBy  events.PersonID
	Closed   time.Time
	ClosedBy events.PersonID
	// Reason is the last reason given, for reopening or waiving.
	Reason string
	Photos []events.PhotoDigest
}

// IsOpen tells whether something is still to be done or to be looked at.
func (i Item) IsOpen() bool { return i.State == ItemOpen || i.State == ItemFixed }

// Oddness is something in the reports that does not fit: accepted, and told.
type Oddness struct {
	Report events.ReportID
	At     time.Time
	Where  events.Place
	What   string
}

func (f *fold) odd(e events.Event, where events.Place, what string) {
	if f.told != nil {
		f.told.oddness = append(f.told.oddness, Oddness{e.ID, e.At, where, what})
	}
}

// unnamed tells of places that are open when a day ends and that the report does not name.
func (f *fold) unnamed(s *State, e events.Event, b events.DayEnded) {
	if slices.Contains(b.LeftOpen, events.WholeRoof) {
		return
	}
	var open []string
	for _, p := range s.Places() {
		if p.IsOpen() && !slices.Contains(b.LeftOpen, p.Mark) {
			open = append(open, string(p.Mark))
		}
	}
	if len(open) > 0 {
		f.odd(e, "", "The day ended with "+strings.Join(open, ", ")+" open, and nobody is named who accepts it.")
	}
}

// raise makes an item of a report that is none itself; a second cause in one report
// joins the first.
func (f *fold) raise(e events.Event, where events.Place, what, blocks string) {
	if i := f.find(e.ID); i != nil && i.Derived && !i.Raised.IsZero() {
		i.What += " " + what
		if blocks == events.BlocksNight || i.Blocks == events.BlocksNothing {
			i.Blocks = blocks
		}
		return
	}
	i := f.known(e.ID)
	i.Where, i.What, i.Blocks, i.Derived = where, what, blocks, true
	i.Raised, i.RaisedBy = e.At, e.By
}

// known is the item of an id, made when a report names it before the one that raises
// it: phones send when they can.
func (f *fold) known(id events.ReportID) *Item {
	i := f.find(id)
	if i == nil {
		i = &Item{ID: id, State: ItemOpen}
		f.item[id] = i
		f.items = append(f.items, i)
	}
	return i
}

func (f *fold) applyPunch(e events.Event) {
	switch b := e.Body.(type) {
	case events.PunchRaised:
		i := f.known(e.ID)
		i.Where, i.What, i.Blocks = b.Where, b.What, b.Blocks
		i.Raised, i.RaisedBy = e.At, e.By
		i.Photos = append(i.Photos, b.Photos...)
	case events.PunchAssigned:
		f.known(b.Item).Assigned = b.To
	case events.PunchFixed:
		i := f.known(b.Item)
		i.State, i.Fixed, i.FixedBy = ItemFixed, e.At, e.By
		i.Photos = append(i.Photos, b.Photos...)
	case events.PunchVerified:
		i := f.known(b.Item)
		i.State, i.Closed, i.ClosedBy = ItemVerified, e.At, e.By
		i.Photos = append(i.Photos, b.Photos...)
	case events.PunchReopened:
		i := f.known(b.Item)
		i.State, i.Closed, i.ClosedBy, i.Reason = ItemOpen, time.Time{}, "", b.Reason
	case events.PunchWaived:
		i := f.known(b.Item)
		i.State, i.Closed, i.ClosedBy, i.Reason = ItemWaived, e.At, e.By, b.Reason
	}
}

// Items lists the punch items in the order in which they were raised. One that other
// reports name and nobody raised is left out.
func (s *State) Items() []Item {
	var items []Item
	if s.now.earlier != "" {
		s.now.readItems()
	}
	for _, i := range s.now.items {
		if i.Raised.IsZero() {
			continue
		}
		item := *i
		item.Photos = append(slices.Clone(i.Photos), s.now.photos[i.ID]...)
		items = append(items, item)
	}
	slices.SortStableFunc(items, func(a, b Item) int {
		if c := a.Raised.Compare(b.Raised); c != 0 {
			return c
		}
		return compareText(a.ID, b.ID)
	})
	return items
}

// Item finds a punch item by the id of the report that raised it.
func (s *State) Item(id events.ReportID) (Item, bool) {
	if i := s.now.find(id); i != nil && !i.Raised.IsZero() {
		return *i, true
	}
	return Item{}, false
}

// Oddities lists what does not fit in the reports, in the order in which it happened.
func (s *State) Oddities() []Oddness {
	all := append(slices.Clone(s.history().oddness), s.history().unordered()...)
	slices.SortStableFunc(all, func(a, b Oddness) int { return a.At.Compare(b.At) })
	return all
}

// Photos are the pictures attached to a report afterwards.
func (s *State) Photos(id events.ReportID) []events.PhotoDigest { return s.now.photos[id] }

func compareText[T ~string](a, b T) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
