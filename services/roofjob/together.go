package roofjob

import (
	"fmt"
	"slices"

	"bydark/events"
	"bydark/events/journal"
)

// AddAll folds several events in, as Add does one after the other, but folds the job
// anew only once for many that come late. When it fails, the state is not to be used any
// more.
func (s *State) AddAll(all []events.Event) error {
	for len(all) > 0 {
		n := slices.IndexFunc(all, func(e events.Event) bool { return s.isDecisive(e, all) })
		if n < 0 {
			n = len(all)
		}
		if err := s.addPlain(all[:n]); err != nil {
			return err
		}
		if all = all[n:]; len(all) > 0 {
			if err := s.Add(all[0]); err != nil {
				return err
			}
			all = all[1:]
		}
	}
	return nil
}

// isDecisive says whether an event may make others, or itself, impossible to apply: then
// it matters when it came. One that takes another back is as decisive as that.
func (s *State) isDecisive(e events.Event, among []events.Event) bool {
	w, withdraws := e.Body.(events.ReportWithdrawn)
	if !withdraws {
		return draws(e)
	}
	target, found := s.Event(w.Report)
	if !found {
		i := slices.IndexFunc(among, func(e events.Event) bool { return e.ID == w.Report })
		if i < 0 {
			// One that has not come is decisive when it comes, if it is.
			_, gone := s.ids.sequence(w.Report)
			return gone
		}
		target = among[i]
	}
	return draws(target) || withdrawsAny(target)
}

// draws says whether an event brings a document from which the roof is drawn.
func draws(e events.Event) bool {
	switch e.Body.(type) {
	case events.JobOpened, events.RoofDrawn, events.AssemblyChosen:
		return true
	}
	return false
}

func withdrawsAny(e events.Event) bool {
	_, ok := e.Body.(events.ReportWithdrawn)
	return ok
}

// addPlain adds events that are not decisive. From the first late one on, or if one
// takes another back, they are only put in their places, and the job is folded anew in
// the end.
func (s *State) addPlain(all []events.Event) error {
	late := slices.ContainsFunc(all, withdrawsAny)
	for _, e := range all {
		if _, ok := s.ids.sequence(e.ID); ok {
			continue
		}
		if !s.reaches(e) {
			return errPast
		}
		late = late || !s.isPlain(e)
		s.leave(e)
		s.log = append(s.log, e)
		s.note(e)
		if late {
			continue
		}
		if err := s.now.apply(s, e); err != nil {
			return fmt.Errorf("event %d, %s: %w", e.Sequence, e.Type(), err)
		}
	}
	if !late {
		return nil
	}
	slices.SortFunc(s.log, func(a, b events.Event) int {
		switch a, b := markOf(a), markOf(b); {
		case earlier(a, b):
			return -1
		case earlier(b, a):
			return 1
		}
		return 0
	})
	return s.refold()
}

// ApplyAll folds entries of the log into a job's state, as Apply does one after the
// other.
func ApplyAll(s *State, entries []journal.Entry) (*State, error) {
	all := make([]events.Event, len(entries))
	for i, e := range entries {
		var err error
		if all[i], err = EventOf(e); err != nil {
			return s, err
		}
	}
	return s, s.AddAll(all)
}
