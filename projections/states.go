package projections

import (
	"container/list"

	"bydark/events/journal"
)

// states keeps the states of the jobs that were folded last. A state is taken out for the time of a transaction, which may change it,
// and put back when the transaction is known to be committed; so a state in here is always one that the tables show.
type states[S any] struct {
	limit  int
	byJob  map[place]*list.Element
	recent *list.List // of folded[S], the last used in front
}

// folded is a job's state, the last event in it, whose digest the job's next event names, and what the tables show of it.
type folded[S any] struct {
	place    place
	state    S
	last     journal.Digest
	sequence uint64
	written  written
}

func (f folded[S]) change() Change[S] {
	return Change[S]{Company: f.place.company, Job: f.place.job, Sequence: f.sequence, State: f.state, written: f.written}
}

func newStates[S any](limit int) *states[S] {
	return &states[S]{limit: limit, byJob: map[place]*list.Element{}, recent: list.New()}
}

// take hands out a state and forgets it.
func (s *states[S]) take(p place) (folded[S], bool) {
	e, ok := s.byJob[p]
	if !ok {
		return folded[S]{}, false
	}
	delete(s.byJob, p)
	f, _ := s.recent.Remove(e).(folded[S])
	return f, true
}

// put keeps a state and forgets the one that was not used for the longest time if there are too many.
func (s *states[S]) put(f folded[S]) {
	s.take(f.place)
	s.byJob[f.place] = s.recent.PushFront(f)
	if s.recent.Len() > s.limit {
		if oldest, ok := s.recent.Back().Value.(folded[S]); ok {
			s.take(oldest.place)
		}
	}
}
