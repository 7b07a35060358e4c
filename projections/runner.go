package projections

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"bydark/events/journal"
)

// Config is what a runner needs. All but Log, Keep, Hold and Folded must be given.
type Config[S any] struct {
	Journal *journal.Journal
	Stream  journal.Stream
	Store   *Store
	Fold    Fold[S]
	History History
	Views   []View[S]
	Now     func() time.Time
	Log     *slog.Logger
	Keep    int // how many jobs' states are kept in memory, 250 if 0
	// Folded is told of every batch: how many events, and how long it took. Nil tells nobody.
	Folded func(events int, took time.Duration)
	Hold   int // how many events they may be of while all is folded from the beginning, 100,000 if 0
}

// Runner folds one stream into one store. Several goroutines may use one; Run is called once at a time.
type Runner[S any] struct {
	c       Config[S]
	name    string // in the lease, unlike any other's
	version string
	changes changes
	breath  breath

	turn    sync.Mutex // above at, created and states; held while a batch or a rebuild is written
	at      checkpoint // where this runner left the checkpoint
	created time.Time  // when the stream was made
	states  *states[S]

	mu     sync.Mutex // above status and moved
	status Status
	moved  chan struct{} // closed and made anew when status.Folded grows
}

// NewRunner makes a runner; nothing is read or written before it runs.
func NewRunner[S any](c Config[S]) *Runner[S] {
	if c.Log == nil {
		c.Log = slog.Default()
	}
	if c.Keep == 0 {
		c.Keep = 250
	}
	if c.Hold == 0 {
		c.Hold = 100_000
	}
	c.Log = c.Log.With("stream", string(c.Stream))
	return &Runner[S]{
		c: c, name: rand.Text(), version: foldVersion(c.Stream, c.Fold, c.History, c.Views), states: newStates[S](c.Keep), moved: make(chan struct{}),
		breath: newBreath(),
	}
}

// retryPause is the wait before a database that failed is tried again.
const retryPause = time.Second

var (
	errCaughtUp   = errors.New("nothing is left to fold")
	errSuperseded = errors.New("views are folded by another version of the program; this one stands by")
)

// Run folds until ctx ends, and gives nil then. What a job's events do wrong stops that job; a database or a broker that fails is tried
// again every second. Run ends with an error only when trying again is of no use: journal.ErrDamaged, journal.ErrClosed, or ErrDamaged,
// which a restart heals.
//
// When it begins to fold, it folds all from the beginning if the tables are of another fold or of another log, and tries stopped jobs again.
// Of several runners on one database one folds; the others watch, as by Watch, and one of them goes on when it ends or dies. When another
// version of the program begins to fold while it runs, it stands by.
func (r *Runner[S]) Run(ctx context.Context) error {
	defer r.resign(ctx)
	return r.again(ctx, func(first bool) error { return r.stint(ctx, first) })
}

// stint folds until somebody else does, or watches until nobody else does.
func (r *Runner[S]) stint(ctx context.Context, first bool) error {
	found, err := r.find(ctx)
	if err != nil {
		return err
	}
	other := found.Version != "" && found.Version != r.version
	if other && !first {
		return errSuperseded
	}
	leads, err := r.lead(ctx, other)
	switch {
	case err != nil:
		return err
	case !leads:
		return r.waiting(ctx, r.watch)
	}
	return r.holding(ctx, func(ctx context.Context) error {
		err := r.follow(ctx, first, true, false)
		for ctx.Err() == nil && (err == nil || errors.Is(err, errFenced)) {
			err = r.follow(ctx, false, false, false)
		}
		return err
	})
}

// CatchUp folds what the log holds now and returns. It fails with the first error, ctx's among them.
func (r *Runner[S]) CatchUp(ctx context.Context) error {
	for first := true; ; first = false {
		err := r.follow(ctx, first, first, true)
		switch {
		case errors.Is(err, errCaughtUp):
			return nil
		case err != nil && !errors.Is(err, errFenced):
			return fmt.Errorf("fold %s: %w", r.c.Stream, err)
		}
	}
}

func isFinal(err error) bool {
	return errors.Is(err, journal.ErrDamaged) || errors.Is(err, journal.ErrClosed) || errors.Is(err, ErrDamaged)
}

func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// follow goes on from the checkpoint until something is in the way. Nil means that it is worth beginning again at once. first and resume
// are prepare's; once ends it when it has caught up.
func (r *Runner[S]) follow(ctx context.Context, first, resume, once bool) error {
	ready, err := r.prepare(ctx, first, resume)
	if err != nil || !ready {
		return err
	}
	from, err := r.where().position()
	if err != nil {
		return err
	}
	err = r.c.Journal.Follow(ctx, r.c.Stream, from, func(entries []journal.Entry, caughtUp bool) error {
		began := r.c.Now()
		if err := r.fold(ctx, entries); err != nil {
			return err
		}
		r.note(func(s *Status) { s.CaughtUp, s.Fault = caughtUp, "" })
		switch {
		case once && caughtUp:
			return errCaughtUp
		case caughtUp && len(entries) > 0:
			return r.breath.take(ctx, r.c.Now().Sub(began))
		}
		return nil
	})
	if errors.Is(err, journal.ErrOtherLog) {
		r.c.Log.Warn("views are not of this log and are folded again", "error", err)
		_, err = r.rebuild(ctx, r.where())
	}
	return err
}

// prepare finds the checkpoint and makes it one from which this runner can go on. It says whether that is done, or whether the
// checkpoint has to be looked at again. A runner that is at its first try folds anew what another version has folded; resume tries the
// stopped jobs again.
func (r *Runner[S]) prepare(ctx context.Context, first, resume bool) (ready bool, err error) {
	end, err := r.c.Journal.End(ctx, r.c.Stream)
	if err != nil {
		return false, err
	}
	found, err := r.find(ctx)
	if err != nil {
		return false, err
	}
	if found.Version != r.version {
		if !first && found.Version != "" {
			return false, errSuperseded
		}
		if found.Version != "" {
			r.c.Log.Info("views are of another version and are folded again")
		}
		_, err := r.rebuild(ctx, found)
		return false, err
	}
	at, err := found.position()
	if err != nil {
		return false, err
	}
	r.begin(found, end.Created)
	r.advance(at, nil)
	if resume {
		err = r.resume(ctx)
	}
	return err == nil, err
}

// begin takes a checkpoint as the one to go on from. What is known of jobs may be older than it.
func (r *Runner[S]) begin(at checkpoint, created time.Time) {
	r.turn.Lock()
	defer r.turn.Unlock()
	if r.at != at {
		r.states = newStates[S](r.c.Keep)
	}
	r.at, r.created = at, created
}

func (r *Runner[S]) where() checkpoint {
	r.turn.Lock()
	defer r.turn.Unlock()
	return r.at
}

func (r *Runner[S]) find(ctx context.Context) (found checkpoint, err error) {
	err = r.c.Store.Read(ctx, func(tx *Tx) error {
		found, err = checkpointOf(ctx, tx, r.c.Stream)
		return err
	})
	return found, err
}
