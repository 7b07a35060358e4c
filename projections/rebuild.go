package projections

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bydark/events/journal"
)

// Rebuilt is what a rebuild did.
type Rebuilt struct {
	Events uint64
	Took   time.Duration
}

// Rebuild throws all tables of the runner away and folds them again from the log, in one transaction: readers see the old rows until
// they see the new. What is reported meanwhile waits. A runner that runs goes on behind it.
func (r *Runner[S]) Rebuild(ctx context.Context) (Rebuilt, error) {
	for {
		found, err := r.find(ctx)
		if err != nil {
			return Rebuilt{}, err
		}
		done, err := r.rebuild(ctx, found)
		if !errors.Is(err, errFenced) { // else another runner has folded a batch in between
			return done, err
		}
	}
}

// rebuild is Rebuild, provided that the checkpoint still is what was seen; otherwise it fails with errFenced.
func (r *Runner[S]) rebuild(ctx context.Context, seen checkpoint) (Rebuilt, error) {
	r.turn.Lock()
	defer r.turn.Unlock()
	r.note(func(s *Status) { s.Rebuilding = true })
	defer r.note(func(s *Status) { s.Rebuilding = false })
	defer collectRarely()()
	begun := r.c.Now()
	end, err := r.c.Journal.End(ctx, r.c.Stream)
	if err != nil {
		return Rebuilt{}, err
	}
	anew := &refolding[S]{r: r, upto: end.Sequence, at: journal.Position{Created: end.Created}, crowd: newCrowd(r.c.Hold)}
	err = r.c.Store.inTx(ctx, func(tx *Tx) error {
		empty := checkpoint{Version: r.version}
		if err := move(ctx, tx, r.c.Stream, seen, empty); err != nil {
			return err
		}
		if err := r.empty(ctx, tx); err != nil {
			return err
		}
		if err := anew.fold(ctx, tx); err != nil {
			return err
		}
		return move(ctx, tx, r.c.Stream, empty, checkpointAt(r.version, anew.at))
	})
	if err != nil {
		return Rebuilt{}, fmt.Errorf("fold %s from the beginning: %w", r.c.Stream, err)
	}
	r.at, r.created, r.states = checkpointAt(r.version, anew.at), end.Created, newStates[S](r.c.Keep)
	r.note(func(s *Status) { s.Stopped = anew.stopped; s.Rebuilds++ })
	r.advance(anew.at, nil)
	r.changes.tell(map[place]uint64{{}: anew.at.Sequence})
	done := Rebuilt{Events: anew.at.Sequence, Took: r.c.Now().Sub(begun)}
	r.c.Log.Info("views folded from the beginning", "events", done.Events, "seconds", done.Took.Seconds())
	if err := r.c.Store.dialect.tidy(r.c.Store.write); err != nil {
		r.c.Log.Warn("write-ahead log of the views stays long", "error", err)
	}
	return done, nil
}

// tables are all that this runner writes but the checkpoint and the stopped jobs.
func (r *Runner[S]) tables() []string {
	all := r.c.History.Tables()
	for _, v := range r.c.Views {
		all = append(all[:len(all):len(all)], v.Tables()...)
	}
	return all
}

func (r *Runner[S]) empty(ctx context.Context, tx *Tx) error {
	for _, table := range r.tables() {
		if err := tx.store.dialect.empty(ctx, tx, table); err != nil {
			return fmt.Errorf("empty table %s: %w", table, err)
		}
	}
	if _, err := tx.Exec(ctx, `delete from stopped where stream = ?`, string(r.c.Stream)); err != nil {
		return fmt.Errorf("empty table stopped: %w", err)
	}
	return nil
}
