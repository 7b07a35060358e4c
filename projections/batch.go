package projections

import (
	"context"
	"errors"
	"fmt"

	"bydark/events/journal"
)

// fold writes a batch: checkpoint and rows, whole or not at all. Events that another runner has folded meanwhile are left out.
func (r *Runner[S]) fold(ctx context.Context, entries []journal.Entry) error {
	r.turn.Lock()
	defer r.turn.Unlock()
	began := r.c.Now()
	for {
		rest := r.unfolded(entries)
		if len(rest) == 0 {
			return nil
		}
		next := journal.Position{Created: r.created, Sequence: rest[len(rest)-1].Sequence, Digest: rest[len(rest)-1].Digest}
		to := checkpointAt(r.version, next)
		var done outcome[S]
		err := r.c.Store.inTx(ctx, func(tx *Tx) (err error) {
			if err := move(ctx, tx, r.c.Stream, r.at, to); err != nil {
				return err
			}
			done, err = r.write(ctx, tx, r.states, rest)
			return err
		})
		if err == nil {
			r.at = to
			done.keep(r.states)
			r.note(func(s *Status) { s.Stopped = done.stopped; s.Batches++; s.Events += uint64(len(rest)) })
			if r.c.Folded != nil {
				r.c.Folded(len(rest), r.c.Now().Sub(began))
			}
			r.advance(next, rest) // last: who waits for an event also learns what it stopped
			return nil
		}
		if !errors.Is(err, errFenced) {
			return err
		}
		if err := r.yield(ctx, rest); err != nil {
			return err
		}
	}
}

// unfolded is what is left of entries behind the checkpoint.
func (r *Runner[S]) unfolded(entries []journal.Entry) []journal.Entry {
	for i, e := range entries {
		if e.Sequence > uint64(r.at.Sequence) {
			return entries[i:]
		}
	}
	return nil
}

// yield goes to where another runner has moved the checkpoint, if that is a place ahead in the same log. Otherwise it fails with
// errFenced, and all is looked at anew. States need no care: one that misses an event does not fit the job's next.
func (r *Runner[S]) yield(ctx context.Context, entries []journal.Entry) error {
	r.note(func(s *Status) { s.Fenced++ })
	found, err := r.find(ctx)
	if err != nil {
		return err
	}
	there, err := found.position()
	if err != nil {
		return err
	}
	n, err := r.follows(found, there, entries)
	if err != nil {
		return err
	}
	r.at = found
	r.advance(there, entries[:n])
	return nil
}

// outcome is what a batch did, to be remembered once it is committed.
type outcome[S any] struct {
	states  []folded[S]
	stopped []Stopped // all that are stopped now
}

func (o outcome[S]) keep(s *states[S]) {
	for _, f := range o.states {
		s.put(f)
	}
}

// group is a job's part of a batch.
type group struct {
	place   place
	entries []journal.Entry
}

// groups sorts a batch by jobs, in the order in which they first appear.
func groups(entries []journal.Entry) []group {
	var all []group
	at := map[place]int{}
	for _, e := range entries {
		p := placeOf(e)
		i, ok := at[p]
		if !ok {
			i = len(all)
			at[p], all = i, append(all, group{place: p})
		}
		all[i].entries = append(all[i].entries, e)
	}
	return all
}

// write records entries and lets the views follow those of jobs that are not stopped.
func (r *Runner[S]) write(ctx context.Context, tx *Tx, kept *states[S], entries []journal.Entry) (outcome[S], error) {
	if err := r.c.History.Keep(ctx, tx, entries); err != nil {
		return outcome[S]{}, fmt.Errorf("%s: %w", r.c.History.Name(), err)
	}
	stopped, err := StoppedJobs(ctx, tx, r.c.Stream)
	if err != nil {
		return outcome[S]{}, err
	}
	still := map[place]bool{}
	for _, s := range stopped {
		still[place{s.Company, s.Job}] = true
	}
	var going []group
	for _, g := range groups(entries) {
		if !still[g.place] {
			going = append(going, g)
		}
	}
	return r.spread(ctx, tx, kept, going)
}

// spread brings recorded events into the views: all jobs together, or, when a view cannot write one of them, event by event, so that
// the one it is can be stopped.
func (r *Runner[S]) spread(ctx context.Context, tx *Tx, kept *states[S], going []group) (outcome[S], error) {
	var done []folded[S]
	err := tx.within(ctx, func() (err error) {
		done, err = r.together(ctx, tx, kept, going)
		return err
	})
	if r.isContent(err) {
		r.c.Log.Warn("a view cannot write a batch; it is written event by event", "error", err)
		done, err = r.singly(ctx, tx, going)
	}
	if err != nil {
		return outcome[S]{}, err
	}
	stopped, err := StoppedJobs(ctx, tx, r.c.Stream)
	return outcome[S]{states: done, stopped: stopped}, err
}

// together folds each job as far as it can be folded and lets each view write all jobs at once.
func (r *Runner[S]) together(ctx context.Context, tx *Tx, kept *states[S], going []group) ([]folded[S], error) {
	var done []folded[S]
	var changes []Change[S]
	for _, g := range going {
		f, n, err := r.foldJob(ctx, tx, kept, g)
		if err != nil {
			return nil, err
		}
		if n > 0 {
			changes = append(changes, f.change())
		}
		if n == len(g.entries) {
			done = append(done, f)
		}
	}
	if len(changes) == 0 {
		return done, nil
	}
	return done, r.writeViews(ctx, tx, changes)
}

// foldJob is a job's state after its part of the batch, and how many events of it are in the state: all, or those before the one where
// the job was stopped.
func (r *Runner[S]) foldJob(ctx context.Context, tx *Tx, kept *states[S], g group) (folded[S], int, error) {
	f, ok := kept.take(g.place)
	if !ok || f.last != g.entries[0].Prev {
		var err error
		if f, err = r.past(ctx, tx, g.place, g.entries[0].Sequence-1); err != nil {
			return f, 0, r.stopped(ctx, tx, err)
		}
	}
	for i, e := range g.entries {
		next, err := r.apply(f, e)
		if err == nil {
			f = next
			continue
		}
		if err := r.stopped(ctx, tx, err); err != nil {
			return f, 0, err
		}
		// Apply may have changed the state before it failed: fold it once more, without that event.
		f, err = r.past(ctx, tx, g.place, e.Sequence-1)
		return f, i, err
	}
	return f, len(g.entries), nil
}

// singly writes events one by one, each so that it can be taken back alone.
func (r *Runner[S]) singly(ctx context.Context, tx *Tx, going []group) ([]folded[S], error) {
	var done []folded[S]
	for _, g := range going {
		f, err := r.past(ctx, tx, g.place, g.entries[0].Sequence-1)
		for _, e := range g.entries {
			if err != nil {
				break
			}
			err = tx.within(ctx, func() error {
				next, err := r.apply(f, e)
				if err != nil {
					return err
				}
				f = next
				return r.writeViews(ctx, tx, []Change[S]{f.change()})
			})
			if r.isContent(err) && !isPoison(err) {
				err = &poison{entry: e, err: err}
			}
		}
		if err == nil {
			done = append(done, f)
		} else if err := r.stopped(ctx, tx, err); err != nil {
			return nil, err
		}
	}
	return done, nil
}

func (r *Runner[S]) writeViews(ctx context.Context, tx *Tx, changes []Change[S]) error {
	for _, v := range r.c.Views {
		if err := r.writeView(ctx, tx, v, changes); err != nil {
			return fmt.Errorf("view %s: %w", v.Name(), err)
		}
	}
	return nil
}

func (r *Runner[S]) writeView(ctx context.Context, tx *Tx, v View[S], changes []Change[S]) (err error) {
	defer recovered(&err)
	return v.Write(ctx, tx, changes)
}
