package projections

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"bydark/events/journal"
)

const (
	// rebuildBatch is how many events are recorded at once when all are folded.
	rebuildBatch = 5000
	// rebuildAhead is how many batches of the log are read before those in front of them are recorded.
	rebuildAhead = 4
	// rebuildJobs is how many jobs' rows are written at once.
	rebuildJobs = 200
)

// refolding is a fold from the beginning up to a sequence. The log is read, recorded and folded side by side, and the views write each
// job once, when all its events are in its state: to write it after every batch, as a runner that follows must, costs many times as much.
// A job whose state was let go before its last event came is folded once more at the end, from the history.
type refolding[S any] struct {
	r       *Runner[S]
	upto    uint64
	at      journal.Position
	crowd   *crowd[S]
	stopped []Stopped
	waiting []journal.Entry
}

func (f *refolding[S]) fold(ctx context.Context, tx *Tx) error {
	if f.upto == 0 {
		return nil
	}
	if err := f.follow(ctx, tx); err != nil {
		return err
	}
	if err := f.writeAll(ctx, tx, f.crowd.all()); err != nil {
		return err
	}
	for _, p := range f.crowd.late {
		if err := f.again(ctx, tx, p); err != nil {
			return err
		}
	}
	var err error
	f.stopped, err = StoppedJobs(ctx, tx, f.r.c.Stream)
	return err
}

// follow records and folds what is in the log. It reads ahead.
func (f *refolding[S]) follow(ctx context.Context, tx *Tx) error {
	ctx, cancel := context.WithCancel(ctx)
	batches := make(chan []journal.Entry, rebuildAhead)
	var reading sync.WaitGroup
	var readError error
	reading.Go(func() {
		defer close(batches)
		readError = f.r.c.Journal.Follow(ctx, f.r.c.Stream, journal.Position{}, func(entries []journal.Entry, _ bool) error {
			return f.read(ctx, entries, batches)
		})
	})
	defer reading.Wait()
	defer cancel()
	for entries := range batches {
		if err := f.take(ctx, tx, entries); err != nil {
			return err
		}
	}
	if !errors.Is(readError, errCaughtUp) {
		return readError
	}
	return nil
}

// read hands on what is wanted of what was read.
func (f *refolding[S]) read(ctx context.Context, entries []journal.Entry, to chan<- []journal.Entry) error {
	n := len(entries)
	for n > 0 && entries[n-1].Sequence > f.upto {
		n--
	}
	if n == 0 {
		return nil // the log was empty when this began to read
	}
	select {
	case to <- entries[:n]:
	case <-ctx.Done():
		return ctx.Err()
	}
	if entries[n-1].Sequence == f.upto {
		return errCaughtUp
	}
	return nil
}

// take gathers events until they are worth a write. They are folded while they are recorded.
func (f *refolding[S]) take(ctx context.Context, tx *Tx, entries []journal.Entry) error {
	f.waiting = append(f.waiting, entries...)
	last := f.waiting[len(f.waiting)-1]
	if len(f.waiting) < rebuildBatch && last.Sequence < f.upto {
		return nil
	}
	var folding sync.WaitGroup
	folding.Go(func() {
		for _, e := range f.waiting {
			f.crowd.fold(f.r, e)
		}
	})
	err := f.r.c.History.Keep(ctx, tx, f.waiting)
	folding.Wait()
	if err != nil {
		return fmt.Errorf("%s: %w", f.r.c.History.Name(), err)
	}
	f.waiting = f.waiting[:0]
	f.at.Sequence, f.at.Digest = last.Sequence, last.Digest
	return f.writeAll(ctx, tx, f.crowd.surplus())
}

// writeAll lets the views write jobs' states.
func (f *refolding[S]) writeAll(ctx context.Context, tx *Tx, jobs []folded[S]) error {
	for len(jobs) > 0 {
		n := min(len(jobs), rebuildJobs)
		if err := f.writeSome(ctx, tx, jobs[:n]); err != nil {
			return err
		}
		jobs = jobs[n:]
	}
	return nil
}

func (f *refolding[S]) writeSome(ctx context.Context, tx *Tx, jobs []folded[S]) error {
	changes := make([]Change[S], len(jobs))
	for i, job := range jobs {
		changes[i] = job.change()
	}
	err := tx.within(ctx, func() error { return f.r.writeViews(ctx, tx, changes) })
	if f.r.isContent(err) { // one of them
		for _, job := range jobs {
			f.crowd.postpone(job.place)
		}
		return nil
	}
	return err
}

// again folds a job from the history, and stops it where it must be.
func (f *refolding[S]) again(ctx context.Context, tx *Tx, p place) error {
	g, err := f.r.recorded(ctx, tx, p, 0, f.upto)
	if err != nil {
		return err
	}
	_, err = f.r.spread(ctx, tx, newStates[S](0), []group{g})
	return err
}
