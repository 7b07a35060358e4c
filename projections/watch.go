package projections

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bydark/events/journal"
)

// watchPause is how often the checkpoint is read while events are in the log that another runner has not folded.
const watchPause = 25 * time.Millisecond

// Watch follows what other runners on the same database fold, so that Wait, Subscribe and Status answer as if this one did it, until ctx
// ends, and gives nil then. It ends with the same errors as Run, and is called instead of it.
func (r *Runner[S]) Watch(ctx context.Context) error {
	return r.again(ctx, func(bool) error { return r.watch(ctx) })
}

// watch reads the log, and for each batch waits until the checkpoint has passed it.
func (r *Runner[S]) watch(ctx context.Context) error {
	end, err := r.c.Journal.End(ctx, r.c.Stream)
	if err != nil {
		return err
	}
	seen, err := r.look(ctx)
	for errors.Is(err, errUnfolded) {
		if err := pause(ctx, watchPause); err != nil {
			return err
		}
		seen, err = r.look(ctx)
	}
	if err != nil {
		return err
	}
	r.begin(seen.checkpoint, end.Created)
	r.advance(seen.at, nil)
	r.note(func(s *Status) { s.Stopped = seen.stopped })
	return r.c.Journal.Follow(ctx, r.c.Stream, seen.at, func(entries []journal.Entry, caughtUp bool) error {
		for len(entries) > 0 {
			rest, err := r.passed(ctx, entries)
			if err != nil {
				return err
			}
			if len(rest) == len(entries) {
				r.note(func(s *Status) { s.CaughtUp = false })
				if err := pause(ctx, watchPause); err != nil {
					return err
				}
			}
			entries = rest
		}
		r.note(func(s *Status) { s.CaughtUp, s.Fault = caughtUp, "" })
		return nil
	})
}

// seen is what the tables say of how far they are.
type seen struct {
	checkpoint checkpoint
	at         journal.Position
	stopped    []Stopped
}

// errUnfolded: nobody has begun to fold.
var errUnfolded = errors.New("views are not folded yet")

// look reads how far the tables are. It fails with errUnfolded and errSuperseded.
func (r *Runner[S]) look(ctx context.Context) (s seen, err error) {
	err = r.c.Store.Read(ctx, func(tx *Tx) error {
		if s.checkpoint, err = checkpointOf(ctx, tx, r.c.Stream); err != nil {
			return err
		}
		s.stopped, err = StoppedJobs(ctx, tx, r.c.Stream)
		return err
	})
	if err != nil {
		return s, err
	}
	switch s.checkpoint.Version {
	case "":
		return s, errUnfolded
	case r.version:
	default:
		return s, errSuperseded
	}
	s.at, err = s.checkpoint.position()
	return s, err
}

// passed takes note of how far another runner has come, and gives what is left of entries behind that.
func (r *Runner[S]) passed(ctx context.Context, entries []journal.Entry) ([]journal.Entry, error) {
	s, err := r.look(ctx)
	if err != nil {
		return nil, err
	}
	r.turn.Lock()
	defer r.turn.Unlock()
	if s.checkpoint == r.at {
		return entries, nil
	}
	n, err := r.follows(s.checkpoint, s.at, entries)
	if err != nil {
		return nil, err
	}
	r.note(func(st *Status) { st.Stopped = s.stopped })
	r.at = s.checkpoint
	r.advance(s.at, entries[:n])
	return entries[n:], nil
}

// follows says how many of entries lie before a checkpoint to which another runner has moved, or fails with errFenced if it is not a place
// ahead in the same log.
func (r *Runner[S]) follows(found checkpoint, there journal.Position, entries []journal.Entry) (int, error) {
	if found.Version != r.version || found.Sequence <= r.at.Sequence || !there.Created.Equal(r.created) {
		return 0, errFenced
	}
	n := 0
	for n < len(entries) && entries[n].Sequence <= there.Sequence {
		n++
	}
	if n > 0 && entries[n-1].Sequence == there.Sequence && entries[n-1].Digest != there.Digest {
		return 0, errFenced
	}
	return n, nil
}

// again runs stints until ctx ends, as Run says.
func (r *Runner[S]) again(ctx context.Context, stint func(first bool) error) error {
	for first := true; ; first = false {
		err := stint(first)
		switch {
		case ctx.Err() != nil:
			return nil //nolint:nilerr // the end of ctx is how a runner is asked to end
		case err == nil, errors.Is(err, errFenced), errors.Is(err, errDeposed):
			continue
		case isFinal(err):
			return fmt.Errorf("fold %s: %w", r.c.Stream, err)
		}
		if r.Status().Fault != err.Error() { // once is enough
			r.c.Log.Warn("folding failed, trying again every second", "error", err)
		}
		r.note(func(s *Status) { s.Fault, s.CaughtUp = err.Error(), false })
		if err := pause(ctx, retryPause); err != nil {
			return nil //nolint:nilerr // the end of ctx is how a runner is asked to end
		}
	}
}
