package roofjob

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"bydark/events/journal"
)

// When a job's snapshot is written: after so many events, and some more for a job that
// has many ids, which are all written again. A job that was just opened is read as fast
// from the log.
const (
	keepEvery = 64
	keepShare = 1000 // one event more for so many ids
	// keepAtEnd is how many events make it worth while when the service stops, endWithin
	// how long that may take.
	keepAtEnd = 8
	endWithin = 5 * time.Second
)

func (s *Service) told() *slog.Logger { return cmp.Or(s.Log, slog.Default()) }

// keeping are the desks whose snapshots are to be written.
type keeping struct {
	wake chan struct{}

	mu  sync.Mutex // guards due
	due map[*desk]bool
}

func newKeeping() keeping { return keeping{wake: make(chan struct{}, 1), due: map[*desk]bool{}} }

// keepSoon has a desk's snapshot written when enough is new. The desk's mutex is held.
func (s *Service) keepSoon(d *desk) {
	if d.newer < keepEvery+d.state.ids.count()/keepShare {
		return
	}
	s.keeping.mu.Lock()
	s.keeping.due[d] = true
	s.keeping.mu.Unlock()
	select {
	case s.keeping.wake <- struct{}{}:
	default: // it is awake already
	}
}

// Run writes snapshots of long jobs until the context ends, and then of those that are
// in memory. Without it all is right, and the first report on a job after a start slow.
func (s *Service) Run(ctx context.Context) error {
	for {
		select {
		case <-s.keeping.wake:
			s.keepDue(context.WithoutCancel(ctx))
		case <-ctx.Done():
			s.keepRest(context.WithoutCancel(ctx))
			return ctx.Err()
		}
	}
}

func (s *Service) keepDue(ctx context.Context) {
	s.keeping.mu.Lock()
	due := s.keeping.due
	s.keeping.due = map[*desk]bool{}
	s.keeping.mu.Unlock()
	for d := range due {
		s.keepLogged(ctx, d)
	}
}

// keepRest writes what is worth it before the service ends.
func (s *Service) keepRest(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, endWithin)
	defer cancel()
	s.mu.Lock()
	var rest []*desk
	for _, d := range s.jobs {
		rest = append(rest, d)
	}
	s.mu.Unlock()
	for _, d := range rest {
		d.mu.Lock()
		worth := d.newer >= keepAtEnd && d.state.ids.count() >= keepEvery
		d.mu.Unlock()
		if worth && ctx.Err() == nil {
			s.keepLogged(ctx, d)
		}
	}
}

// keepLogged tells what goes wrong: nobody waits for a snapshot.
func (s *Service) keepLogged(ctx context.Context, d *desk) {
	if err := s.keep(ctx, d); err != nil && ctx.Err() == nil {
		s.told().Warn("a job's snapshot was not written; its reports are right without", "job", d.subject, "error", err)
	}
}

// keep writes a desk's snapshot. Its reports wait only while it is made.
func (s *Service) keep(ctx context.Context, d *desk) error {
	data, upto, newer, err := d.snapshot()
	if err != nil || data == nil {
		return err
	}
	err = s.log.Shelve(ctx, d.subject, data)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.newer = max(0, d.newer-newer) // when it failed it is tried again after as many
	if err == nil {
		d.kept = max(upto, d.kept)
	}
	return err
}

// snapshot is a desk's state written down, its last event, and how many are new in it;
// nothing when that is kept already.
func (d *desk) snapshot() (data []byte, upto uint64, newer int, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	upto = d.tail.Sequence
	if upto == 0 || upto == d.kept {
		return nil, upto, 0, nil
	}
	if data, err = d.state.snapshot(d.tail); err != nil {
		return nil, upto, 0, fmt.Errorf("write down %s after %d: %w", d.subject, upto, err)
	}
	return data, upto, d.newer, nil
}

// load brings a desk up to the end of the log, from the job's snapshot when it knows
// nothing yet. The desk's mutex is held.
func (s *Service) load(ctx context.Context, d *desk) error {
	recalled := d.state.Last() == 0 && s.recall(ctx, d)
	err := d.catchUp(ctx, s.log)
	if recalled && (errors.Is(err, journal.ErrOtherLog) || errors.Is(err, errFold)) {
		s.told().Warn("a job's snapshot does not fit the log and is not used", "job", d.subject, "error", err)
		d.state, d.tail, d.kept, d.newer = deciding(d.company, d.job), journal.Tail{}, 0, 0
		err = d.catchUp(ctx, s.log)
	}
	if err == nil {
		s.keepSoon(d)
	}
	return err
}

// recall takes a job's snapshot, if there is one that this program can use.
func (s *Service) recall(ctx context.Context, d *desk) bool {
	data, err := s.log.Shelved(ctx, d.subject)
	if errors.Is(err, journal.ErrNotFound) {
		return false
	}
	var state *State
	var tail journal.Tail
	if err == nil {
		state, tail, err = readSnapshot(data, d.company, d.job)
	}
	switch {
	case errors.Is(err, errOtherSnapshot):
		s.told().Info("a job is read from the log", "job", d.subject, "because", err)
		return false
	case err != nil:
		s.told().Warn("a job's snapshot cannot be used; the job is read from the log", "job", d.subject, "error", err)
		return false
	}
	d.state, d.tail, d.kept = state, tail, tail.Sequence
	return true
}
