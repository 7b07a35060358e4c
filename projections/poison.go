package projections

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime/debug"

	"bydark/events/journal"
)

// poison is an event that a job cannot get past.
type poison struct {
	entry journal.Entry
	err   error
}

func (p *poison) Error() string { return p.err.Error() }
func (p *poison) Unwrap() error { return p.err }

func isPoison(err error) bool {
	var p *poison
	return errors.As(err, &p)
}

// panicked is a panic of a fold or a view. The stack is for the log alone.
type panicked struct {
	value any
	stack []byte
}

func (p *panicked) Error() string { return fmt.Sprintf("panic: %v", p.value) }

func recovered(err *error) {
	if v := recover(); v != nil {
		*err = &panicked{value: v, stack: debug.Stack()}
	}
}

var errTorn = errors.New("it does not follow the job's event before it")

// apply is the job's state with one more event. It fails with a poison.
func (r *Runner[S]) apply(f folded[S], e journal.Entry) (next folded[S], err error) {
	defer func() {
		if err != nil {
			err = &poison{entry: e, err: err}
		}
	}()
	if f.last != e.Prev {
		return f, errTorn
	}
	defer recovered(&err)
	state, err := r.c.Fold.Apply(f.state, e)
	return folded[S]{place: f.place, state: state, last: e.Digest, sequence: e.Sequence, written: f.written}, err
}

// unfoldedJob is a job before its first event, of which it is not known what the tables show.
func (r *Runner[S]) unfoldedJob(p place) folded[S] {
	return folded[S]{place: p, state: r.c.Fold.New(p.company, p.job), written: written{}}
}

// applyAll is the job's state with more events. When it fails, the state that was given may be changed, and it is not said at which event.
func (r *Runner[S]) applyAll(f folded[S], entries []journal.Entry) (next folded[S], err error) {
	if r.c.Fold.ApplyAll == nil {
		for _, e := range entries {
			if f, err = r.apply(f, e); err != nil {
				return f, err
			}
		}
		return f, nil
	}
	last := f.last
	for _, e := range entries {
		if e.Prev != last {
			return f, errTorn
		}
		last = e.Digest
	}
	if len(entries) > 0 {
		f.sequence = entries[len(entries)-1].Sequence
	}
	defer recovered(&err)
	f.state, err = r.c.Fold.ApplyAll(f.state, entries)
	f.last = last
	return f, err
}

// past folds a job from the history, up to a sequence. It fails with a poison if that cannot be done.
func (r *Runner[S]) past(ctx context.Context, tx *Tx, p place, upto uint64) (folded[S], error) {
	g, err := r.recorded(ctx, tx, p, 0, upto)
	if err != nil {
		return folded[S]{}, err
	}
	if f, err := r.applyAll(r.unfoldedJob(p), g.entries); err == nil {
		return f, nil
	}
	f := r.unfoldedJob(p) // once more, to find the event
	for _, e := range g.entries {
		if f, err = r.apply(f, e); err != nil {
			return f, err
		}
	}
	return f, nil
}

// recorded is what the history holds of a job after a sequence and up to another.
func (r *Runner[S]) recorded(ctx context.Context, tx *Tx, p place, after, upto uint64) (group, error) {
	g := group{place: p}
	for after < upto {
		page, err := r.c.History.Past(ctx, tx, p.company, p.job, after, upto)
		if err != nil {
			return g, fmt.Errorf("history of job %s after %d: %w", p, after, err)
		}
		if len(page) == 0 {
			break
		}
		g.entries = append(g.entries, page...)
		after = page[len(page)-1].Sequence
	}
	return g, nil
}

// stopped stops the job that a poison belongs to, and gives back every other error.
func (r *Runner[S]) stopped(ctx context.Context, tx *Tx, err error) error {
	var p *poison
	if !errors.As(err, &p) {
		return err
	}
	s, err := stop(ctx, tx, r.c.Stream, p.entry, p.err)
	if err != nil {
		return err
	}
	about := []any{"company", s.Company, "job", s.Job, "sequence", s.Sequence, "type", s.Type, "reason", s.Reason}
	var panic *panicked
	if errors.As(p.err, &panic) {
		about = append(about, "stack", string(panic.stack))
	}
	r.c.Log.Error("job is stopped before an event that cannot be folded", about...)
	return nil
}

// isContent says whether an error is about what was to be written, and was taken back, rather than about the database.
func (r *Runner[S]) isContent(err error) bool {
	var u *undone
	return errors.As(err, &u) && !r.c.Store.dialect.isFault(err) && !errors.Is(err, sql.ErrTxDone) &&
		!errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded)
}

// resume tries the stopped jobs again: this program may understand what another did not.
func (r *Runner[S]) resume(ctx context.Context) error {
	var all []Stopped
	if err := r.c.Store.Read(ctx, func(tx *Tx) (err error) {
		all, err = StoppedJobs(ctx, tx, r.c.Stream)
		return err
	}); err != nil {
		return err
	}
	for _, s := range all {
		if err := r.tryAgain(ctx, place{s.Company, s.Job}, s.Sequence); err != nil {
			return err
		}
	}
	return nil
}

func (r *Runner[S]) tryAgain(ctx context.Context, p place, at uint64) error {
	r.turn.Lock()
	defer r.turn.Unlock()
	var done outcome[S]
	err := r.c.Store.inTx(ctx, func(tx *Tx) error {
		// The checkpoint stays, but nobody moves it meanwhile; and whoever has moved it may have tried too.
		if err := move(ctx, tx, r.c.Stream, r.at, r.at); err != nil {
			return err
		}
		g, err := r.recorded(ctx, tx, p, at-1, uint64(r.at.Sequence))
		if err != nil {
			return err
		}
		n, err := release(ctx, tx, r.c.Stream, p)
		if err != nil || n == 0 || len(g.entries) == 0 {
			return err // n is 0 when another runner was first
		}
		done, err = r.spread(ctx, tx, r.states, []group{g})
		return err
	})
	if err != nil {
		return fmt.Errorf("try stopped job %s again: %w", p, err)
	}
	done.keep(r.states)
	r.note(func(s *Status) { s.Stopped = done.stopped })
	r.changes.tell(map[place]uint64{p: uint64(r.at.Sequence)})
	return nil
}
