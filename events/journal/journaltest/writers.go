package journaltest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"bydark/events/journal"
)

// Seed is a source of chance for a test that prints how to repeat it.
func Seed(t testing.TB) *rand.Rand {
	t.Helper()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 1))
}

// maxTries is how often a writer may lose to others with one event.
const maxTries = 500

// Persist writes an event as every caller must: after a conflict as after no answer it loads the subject, looks for its own id, and only
// then tries again. It returns the sequence that the event has in the end.
func Persist(ctx context.Context, j *journal.Journal, subject string, e journal.Entry, patience time.Duration) (uint64, error) {
	var tail journal.Tail
	var err error
	for range maxTries {
		var events []journal.Entry
		events, err = j.Load(ctx, subject, 0)
		if err == nil {
			if n := slices.IndexFunc(events, func(have journal.Entry) bool { return have.ID == e.ID }); n >= 0 {
				return events[n].Sequence, nil
			}
			if n := len(events); n > 0 {
				tail = events[n-1].Tail()
			}
			var done journal.Tail
			try, cancel := context.WithTimeout(ctx, patience)
			done, err = j.Append(try, subject, tail, e)
			cancel()
			if err == nil {
				return done.Sequence, nil
			}
			if !errors.Is(err, journal.ErrConflict) && !errors.Is(err, journal.ErrUnknown) {
				return 0, err
			}
		}
		if ctx.Err() != nil {
			return 0, ctx.Err()
		}
	}
	return 0, fmt.Errorf("%s was not written in %d tries: %w", e.ID, maxTries, err)
}

// race has several writers of several journals on one log fill one subject, each deciding on what it last saw.
func race(t *testing.T, k Kind) {
	open := k.Start(t)
	j := open(t)
	const subject, writers, each = "roof.acme.contended", 8, 15
	var group sync.WaitGroup
	var mu sync.Mutex
	answered := map[string]uint64{}
	for w := range writers {
		group.Go(func() {
			for n := range each {
				e := Event(w*each + n)
				sequence, err := Persist(t.Context(), j, subject, e, time.Minute)
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				answered[e.ID] = sequence
				mu.Unlock()
			}
		})
	}
	group.Wait()
	Once(t, Load(t, j, subject, 0), answered)
	if got := len(answered); got != writers*each {
		t.Errorf("%d events answered, want %d", got, writers*each)
	}
}

// Once fails unless the events are those that were answered, each once, at the answered sequence, in time.
func Once(t testing.TB, events []journal.Entry, answered map[string]uint64) {
	t.Helper()
	seen := map[string]bool{}
	var recorded time.Time
	for _, e := range events {
		if seen[e.ID] {
			t.Errorf("%s is there twice", e.ID)
		}
		seen[e.ID] = true
		if sequence, ok := answered[e.ID]; ok && sequence != e.Sequence {
			t.Errorf("%s is at %d, %d was answered", e.ID, e.Sequence, sequence)
		}
		if e.Recorded.Before(recorded) {
			t.Errorf("%s was recorded %v, before its predecessor (%v)", e.ID, e.Recorded, recorded)
		}
		recorded = e.Recorded
	}
	for id, sequence := range answered {
		if !seen[id] {
			t.Errorf("%s was answered with %d and is not in the log", id, sequence)
		}
	}
}

// stale tests what a writer that knows too little, or too much, is told.
func stale(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	const subject = "roof.acme.j-1"
	first := Append(t, j, subject, journal.Tail{}, Event(1))
	second := Append(t, j, subject, first, Event(2))
	ahead := second
	ahead.Sequence++
	for name, after := range map[string]journal.Tail{"none": {}, "first": first, "ahead": ahead} {
		if _, err := j.Append(t.Context(), subject, after, Event(3)); !errors.Is(err, journal.ErrConflict) {
			t.Errorf("append after %s: %v, want a conflict", name, err)
		}
	}
	if _, err := j.Append(t.Context(), subject, first, Event(2)); err != nil && !errors.Is(err, journal.ErrConflict) {
		t.Errorf("append of what is there already: %v", err)
	}
	if n := len(Load(t, j, subject, 0)); n != 2 {
		t.Errorf("%d events, want 2", n)
	}
}

// repeats tests the broker's memory of ids: it may never swallow an event that is not there.
func repeats(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	first := Append(t, j, "roof.acme.j-1", journal.Tail{}, Event(1))
	other := Append(t, j, "roof.acme.j-2", journal.Tail{}, Event(1))
	if other.Sequence == first.Sequence {
		t.Error("one id in two subjects was taken for one event")
	}
	// The broker knows the id and the expectation is right: it answers with the old sequence. That is no success, the content is another.
	if tail, err := j.Append(t.Context(), "roof.acme.j-1", first, Event(1)); !errors.Is(err, journal.ErrConflict) {
		t.Errorf("append of the same id as a new event: %v, %v, want a conflict", tail, err)
	}
	if n := len(Load(t, j, "roof.acme.j-1", 0)); n != 1 {
		t.Errorf("%d events, want 1", n)
	}
}

// refusals tests that what cannot be stored is refused and nothing is written.
func refusals(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	const good = "roof.acme.j-1"
	with := func(change func(*journal.Entry)) journal.Entry {
		e := Event(1)
		change(&e)
		return e
	}
	long := make([]byte, 65)
	for i := range long {
		long[i] = 'a'
	}
	for name, c := range map[string]struct {
		subject string
		e       journal.Entry
		want    error
	}{
		"wildcard":         {"roof.acme.*", Event(1), journal.ErrInvalid},
		"full wildcard":    {"roof.acme.>", Event(1), journal.ErrInvalid},
		"too few tokens":   {"roof.acme", Event(1), journal.ErrInvalid},
		"too many tokens":  {"door.acme.x", Event(1), journal.ErrInvalid},
		"empty token":      {"roof..j", Event(1), journal.ErrInvalid},
		"space":            {"roof.ac me.j", Event(1), journal.ErrInvalid},
		"line end":         {"roof.acme.j\r\n", Event(1), journal.ErrInvalid},
		"look-alike":       {"roof.аcme.j", Event(1), journal.ErrInvalid},
		"long id":          {"roof.acme." + string(long), Event(1), journal.ErrInvalid},
		"foreign family":   {"$JS.API.STREAM", Event(1), journal.ErrInvalid},
		"nothing":          {"", Event(1), journal.ErrInvalid},
		"no id":            {good, with(func(e *journal.Entry) { e.ID = "" }), journal.ErrInvalid},
		"no type":          {good, with(func(e *journal.Entry) { e.Type = "" }), journal.ErrInvalid},
		"no time":          {good, with(func(e *journal.Entry) { e.Time = time.Time{} }), journal.ErrInvalid},
		"year 10000":       {good, with(func(e *journal.Entry) { e.Recorded = Day.AddDate(9000, 0, 0) }), journal.ErrInvalid},
		"too large":        {good, with(func(e *journal.Entry) { e.Data = make([]byte, journal.MaxEntry) }), journal.ErrTooLarge},
		"too large an id":  {good, with(func(e *journal.Entry) { e.ID = string(make([]byte, journal.MaxEntry)) }), journal.ErrTooLarge},
		"too large a type": {good, with(func(e *journal.Entry) { e.Type = string(make([]byte, 400<<10)) }), journal.ErrTooLarge},
	} {
		if _, err := j.Append(t.Context(), c.subject, journal.Tail{}, c.e); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	end, err := j.End(t.Context(), journal.Roof)
	if err != nil || end.Sequence != 0 {
		t.Errorf("the log ends at %v (%v), want nothing in it", end, err)
	}
	large := with(func(e *journal.Entry) { e.Data = make([]byte, 890<<10) })
	Append(t, j, good, journal.Tail{}, large)
	if got := Load(t, j, good, 0); len(got) != 1 || len(got[0].Data) != len(large.Data) {
		t.Error("an event just below the limit did not come back")
	}
}
