package roofjob

import (
	"errors"
	"math"
	"slices"

	"bydark/events"
	"bydark/events/journal"
)

// errPast says that a state that decides cannot take an event in before it is told again
// what happened since a footing.
var errPast = errors.New("the job's state does not reach back so far")

// footing is a job's state as it was once, from which it can be folded anew. It holds
// all events up to its tail, and those alone; none that came since happened earlier, and
// none takes one of them back.
type footing struct {
	tail   journal.Tail
	newest mark
	count  int // events in it
	state  string
}

// bearing is below which sequence a footing has to end when an event comes: it takes back
// one that stands there, or was taken back by one before it came.
func (s *State) bearing(e events.Event) uint64 {
	bearing := uint64(math.MaxUint64)
	if w, ok := e.Body.(events.ReportWithdrawn); ok && w.Report != e.ID {
		if target, known := s.ids.sequence(w.Report); known {
			bearing = target
		}
	}
	if first, ok := s.pending[e.ID]; ok {
		bearing = min(bearing, first)
	}
	return bearing
}

// carries tells whether a footing still is one when an event comes.
func (f *footing) carries(e events.Event, bearing uint64) bool {
	return f.tail.Sequence < bearing && !earlier(markOf(e), f.newest)
}

// isPlain tells whether an event changes nothing of what is known: it is the next to
// happen, and no withdrawal says anything of it, nor it of any report that has come.
func (s *State) isPlain(e events.Event) bool {
	_, corrects := e.Body.(events.ReportWithdrawn)
	return !corrects && s.bearing(e) == math.MaxUint64 && (s.newest == mark{} || !earlier(markOf(e), s.newest))
}

// footingFor is how many footings are left when an event comes.
func (s *State) footingFor(e events.Event) int {
	bearing := s.bearing(e)
	n := len(s.footings)
	for n > 0 && !s.footings[n-1].carries(e, bearing) {
		n--
	}
	return n
}

// reaches tells whether an event can be added: it is plain, or all events since the
// footing that it leaves are there.
func (s *State) reaches(e events.Event) bool {
	if !s.decides || s.isPlain(e) {
		return true
	}
	n := s.footingFor(e)
	return n == 0 && s.since == 0 || n > 0 && s.since <= s.footings[n-1].tail.Sequence
}

// leave gives up the footings that an event takes away.
func (s *State) leave(e events.Event) { s.footings = s.footings[:s.footingFor(e)] }

// backTo is the state from which all events of the log are to be added so that an event
// can be added then, and the last that it has.
func (s *State) backTo(e events.Event) (*State, journal.Tail, error) {
	n := s.footingFor(e)
	if n == 0 {
		first := deciding(s.Company, s.Job)
		first.drawings = s.drawings
		return first, journal.Tail{}, nil
	}
	back, err := s.at(n - 1)
	if err != nil {
		return nil, journal.Tail{}, err
	}
	back.ids = s.ids.upTo(back.last)
	return back, s.footings[n-1].tail, nil
}

// deciding is a job before its first event, for decisions.
func deciding(company events.CompanyID, job events.JobID) *State {
	s := New(company, job)
	s.decides = true
	s.now = s.empty()
	return s
}

// at is the state as it was at a footing, without ids.
func (s *State) at(i int) (*State, error) {
	f := &s.footings[i]
	back := deciding(s.Company, s.Job)
	back.drawings, back.papers = s.drawings, s.papers
	back.last, back.since, back.newest = f.tail.Sequence, f.tail.Sequence, f.newest
	back.footings = slices.Clip(s.footings[:i+1])
	c := &codec{in: f.state, papers: &back.papers}
	back.layout(c)
	if c.err == nil && len(c.in) > 0 {
		c.err = errCut
	}
	if c.err != nil {
		return nil, c.err
	}
	if err := back.now.redrawn(back); err != nil {
		return nil, err
	}
	return back, nil
}

// layout is how what changes from footing to footing is written.
func (s *State) layout(c *codec) {
	named(c, s.withdrawn, words[events.ReportID])
	named(c, s.pending, (*codec).uint)
	s.now.layout(c)
}

// settle makes a footing of the state as it is, tail being its last event, and lets go of
// the events in memory, unless late ones came since it did so last.
func (s *State) settle(tail journal.Tail) error {
	if n := len(s.footings); n > 0 && s.footings[n-1].tail.Sequence == tail.Sequence {
		return nil
	}
	c := &codec{writes: true, papers: &s.papers}
	if s.layout(c); c.err != nil {
		return c.err
	}
	s.footings = thin(append(slices.Clip(s.footings), footing{tail, s.newest, s.ids.count(), string(c.out)}))
	s.ids.settle()
	if !s.wentBack {
		s.log, s.since = nil, s.last
	}
	s.wentBack = false
	return nil
}

// spacing is how much farther apart footings lie the longer ago they were.
const spacing = 3

// footingBytes is how much earlier footings may weigh together: a snapshot is to be read fast.
const footingBytes = 256 << 10

// thin keeps footings near the end close together and those long ago far apart, so that
// few are kept and going back costs a part of how far back it is.
func thin(all []footing) []footing {
	end := all[len(all)-1].count
	for i := len(all) - 2; i > 0; i-- {
		if all[i+1].count-all[i-1].count <= spacing*(end-all[i+1].count) {
			all = slices.Delete(all, i, i+1)
		}
	}
	weight := 0
	for i := len(all) - 2; i >= 0; i-- {
		if weight += len(all[i].state); weight > footingBytes {
			return all[i+1:]
		}
	}
	return all
}
