package projections

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"

	"bydark/events/journal"
)

const (
	// rebuildBatch is how many events are recorded at once when all are folded.
	rebuildBatch = 5000
	// rebuildAhead is how many batches of the log are read before those in front of them are recorded.
	rebuildAhead = 8
	// rebuildJobs is of how many events jobs are whose rows are written at once.
	rebuildJobs = 10_000
)

// refolding is a fold from the beginning up to a sequence. The log is read and recorded side by side. Jobs are folded and written whole,
// when all their events are there, and not after every batch, which costs many times as much. A job that was let go before its last
// event came is done once more at the end, from the history.
type refolding[S any] struct {
	r       *Runner[S]
	upto    uint64
	at      journal.Position
	crowd   *crowd
	stopped []Stopped
	waiting []journal.Entry
	next    *folding[S] // jobs that are being folded, to be written when others are
}

func (f *refolding[S]) fold(ctx context.Context, tx *Tx) error {
	if f.upto == 0 {
		return nil
	}
	defer func() { f.next.wait() }()
	if err := f.follow(ctx, tx); err != nil {
		return err
	}
	if err := f.push(ctx, tx, f.crowd.shrink(0)); err != nil {
		return err
	}
	if err := f.write(ctx, tx, f.next); err != nil {
		return err
	}
	for _, p := range f.crowd.late {
		if err := f.late(ctx, tx, p); err != nil {
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

// take gathers events until they are worth a write.
func (f *refolding[S]) take(ctx context.Context, tx *Tx, entries []journal.Entry) error {
	f.waiting = append(f.waiting, entries...)
	last := f.waiting[len(f.waiting)-1]
	if len(f.waiting) < rebuildBatch && last.Sequence < f.upto {
		return nil
	}
	if err := f.r.c.History.Keep(ctx, tx, f.waiting); err != nil {
		return fmt.Errorf("%s: %w", f.r.c.History.Name(), err)
	}
	for _, e := range f.waiting {
		f.crowd.add(e)
	}
	f.waiting = f.waiting[:0]
	f.at.Sequence, f.at.Digest = last.Sequence, last.Digest
	return f.push(ctx, tx, f.crowd.surplus())
}

// push begins to fold jobs, some at a time, and meanwhile lets the views write those that were pushed before.
func (f *refolding[S]) push(ctx context.Context, tx *Tx, jobs []group) error {
	for len(jobs) > 0 {
		n, events := 0, 0
		for n < len(jobs) && events < rebuildJobs {
			events += len(jobs[n].entries)
			n++
		}
		some := f.next
		f.next = f.begin(jobs[:n])
		jobs = jobs[n:]
		if err := f.write(ctx, tx, some); err != nil {
			return err
		}
	}
	return nil
}

// folding is some jobs on their way to their states.
type folding[S any] struct {
	jobs []group
	done []folded[S]
	errs []error
	all  sync.WaitGroup
}

// wait waits until all jobs are folded. There may be none.
func (some *folding[S]) wait() {
	if some != nil {
		some.all.Wait()
	}
}

// begin folds jobs of which the tables show nothing, several at once, and does not wait for them.
func (f *refolding[S]) begin(jobs []group) *folding[S] {
	some := &folding[S]{jobs: jobs, done: make([]folded[S], len(jobs)), errs: make([]error, len(jobs))}
	var taken atomic.Int64
	for range min(runtime.GOMAXPROCS(0), len(jobs)) {
		some.all.Go(func() {
			for i := taken.Add(1) - 1; i < int64(len(jobs)); i = taken.Add(1) - 1 {
				job := f.r.unfoldedJob(jobs[i].place)
				job.written = nil // the tables are empty
				some.done[i], some.errs[i] = f.r.applyAll(job, jobs[i].entries)
			}
		})
	}
	return some
}

// write lets the views write jobs, if there are any. It postpones those that cannot be folded, and all if one cannot be written.
func (f *refolding[S]) write(ctx context.Context, tx *Tx, some *folding[S]) error {
	if some == nil {
		return nil
	}
	some.wait()
	var changes []Change[S]
	for i, job := range some.done {
		if some.errs[i] != nil {
			f.crowd.postpone(some.jobs[i].place)
			continue
		}
		changes = append(changes, job.change())
	}
	if len(changes) == 0 {
		return nil
	}
	err := tx.within(ctx, func() error { return f.r.writeViews(ctx, tx, changes) })
	if !f.r.isContent(err) {
		return err
	}
	for _, g := range some.jobs {
		f.crowd.postpone(g.place)
	}
	return nil
}

// late does a job from the history, as a runner that follows the log would, and stops it where it must be.
func (f *refolding[S]) late(ctx context.Context, tx *Tx, p place) error {
	g, err := f.r.recorded(ctx, tx, p, 0, f.upto)
	if err != nil {
		return err
	}
	_, err = f.r.spread(ctx, tx, newStates[S](0), []group{g})
	return err
}
