package projections

import (
	"context"
	"time"

	"bydark/events/journal"
)

// Status is how a runner does.
type Status struct {
	Folded     journal.Position
	CaughtUp   bool      // nothing was left to fold when it looked last
	LastFold   time.Time // when Folded grew last; zero before
	Batches    uint64    // committed by this runner
	Events     uint64    // in them
	Rebuilds   uint64    // folds from the beginning by this runner
	Fenced     uint64    // batches that another runner had folded first
	Leads      bool      // this is the runner that folds
	Rebuilding bool      // all is folded from the beginning; what readers see is from before
	Stopped    []Stopped // jobs that stand still; not to be changed
	Fault      string    // why nothing was folded at the last try, or empty
}

// Status is how the runner does now.
func (r *Runner[S]) Status() Status {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.status
}

// Lag is how many events of the log are not folded. It asks the log.
func (r *Runner[S]) Lag(ctx context.Context) (uint64, error) {
	folded := r.Status().Folded.Sequence
	end, err := r.c.Journal.End(ctx, r.c.Stream)
	if err != nil {
		return 0, err
	}
	return end.Sequence - min(end.Sequence, folded), nil
}

// Wait waits until the event at a sequence can be seen in the tables. It fails with the context's error.
func (r *Runner[S]) Wait(ctx context.Context, sequence uint64) error {
	waits := false
	for {
		r.mu.Lock()
		folded, moved := r.status.Folded.Sequence, r.moved
		r.mu.Unlock()
		if folded >= sequence {
			return nil
		}
		if !waits {
			waits = true
			defer r.breath.begin()()
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Subscribe begins to collect what changes from now on, whichever runner on the same store folds it.
func (r *Runner[S]) Subscribe() *Subscription { return r.changes.subscribe() }

func (r *Runner[S]) note(change func(*Status)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change(&r.status)
}

// advance tells those who wait that the tables show the log up to a position, and what changed on the way.
func (r *Runner[S]) advance(to journal.Position, entries []journal.Entry) {
	now := r.c.Now()
	r.note(func(s *Status) {
		if to.Sequence > s.Folded.Sequence {
			s.LastFold = now
		}
		s.Folded = to
		close(r.moved)
		r.moved = make(chan struct{})
	})
	r.changes.tell(lastOf(entries))
}

// lastOf gives the last sequence of each job in a batch.
func lastOf(entries []journal.Entry) map[place]uint64 {
	last := map[place]uint64{}
	for _, e := range entries {
		last[placeOf(e)] = e.Sequence
	}
	return last
}
