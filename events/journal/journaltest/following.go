package journaltest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"bydark/events/journal"
)

// Read follows a stream from a position until it is caught up with at least n events, or has got n.
func Read(ctx context.Context, j *journal.Journal, stream journal.Stream, from journal.Position, n int) ([]journal.Entry, error) {
	enough := errors.New("enough")
	var all []journal.Entry
	err := j.Follow(ctx, stream, from, func(events []journal.Entry, caughtUp bool) error {
		all = append(all, events...)
		if len(all) >= n {
			return enough
		}
		return nil
	})
	if !errors.Is(err, enough) {
		return all, err
	}
	return all, nil
}

func cutAtEveryPoint(t *testing.T, k Kind) {
	open := k.Start(t)
	j := open(t)
	const n = 40
	tails := map[string]journal.Tail{}
	for i := range n {
		subject := fmt.Sprintf("roof.acme.j-%d", i%3)
		tails[subject] = Append(t, j, subject, tails[subject], Event(i))
	}
	whole, err := Read(t.Context(), j, journal.Roof, journal.Position{}, n)
	if err != nil {
		t.Fatal(err)
	}
	if len(whole) != n {
		t.Fatalf("%d events, want %d", len(whole), n)
	}
	for cut := range n {
		from := journal.Position{}
		if cut > 0 {
			from = journal.Position{Created: j.Created(journal.Roof), Sequence: whole[cut-1].Sequence, Digest: whole[cut-1].Digest}
		}
		rest, err := Read(t.Context(), j, journal.Roof, from, n-cut)
		if err != nil {
			t.Fatal(err)
		}
		if got := append(slices.Clone(whole[:cut]), rest...); !slices.EqualFunc(got, whole, same) {
			t.Errorf("cut after %d: the whole is another", cut)
		}
	}
}

func same(a, b journal.Entry) bool { return a.Sequence == b.Sequence && a.Digest == b.Digest }

// live follows while others write, and wants every event once, in order, and to be told when it has caught up.
func live(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	const n = 1100
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	idle := make(chan bool, 1)
	done := make(chan error, 1)
	var got []journal.Entry
	go func() {
		done <- j.Follow(ctx, journal.Roof, journal.Position{}, func(events []journal.Entry, caughtUp bool) error {
			if got == nil && len(events) == 0 && caughtUp {
				idle <- true
			}
			if len(events) > 1000 {
				t.Errorf("a batch of %d", len(events))
			}
			if got = append(got, events...); len(got) == n && caughtUp {
				cancel()
			}
			return nil
		})
	}()
	<-idle
	var tail journal.Tail
	for i := range n {
		tail = Append(t, j, "roof.acme.j-1", tail, Event(i))
	}
	Append(t, j, "sky.acme.j-1", journal.Tail{}, Event(0))
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("follow ended with %v", err)
	}
	for i, e := range got {
		if e.Sequence != uint64(i+1) || e.ID != Event(i).ID {
			t.Fatalf("event %d is %d, %s", i, e.Sequence, e.ID)
		}
	}
	if got[n-1].Tail() != tail {
		t.Errorf("last event %v, want %v", got[n-1].Tail(), tail)
	}
}

// gathered holds a follower up while others write, and wants that it then gets what has come meanwhile at once: one that gets it event by
// event never catches up with a burst. What has come is a matter of when it is looked for, so a few rounds may miss it.
func gathered(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	batches, next := make(chan int), make(chan struct{})
	done := make(chan error, 1)
	go func() {
		done <- j.Follow(ctx, journal.Roof, journal.Position{}, func(events []journal.Entry, _ bool) error {
			select {
			case batches <- len(events):
				<-next
			case <-ctx.Done():
			}
			return nil
		})
	}()
	var tail journal.Tail
	written, largest := 0, 0
	<-batches // nothing yet
	for round := 0; round < 100 && largest < 2; round++ {
		for range 10 {
			tail = Append(t, j, "roof.acme.j-1", tail, Event(written))
			written++
		}
		for unread := 10; unread > 0; {
			next <- struct{}{}
			n := <-batches
			largest, unread = max(largest, n), unread-n
		}
	}
	cancel()
	close(next)
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("follow ended with %v", err)
	}
	if largest < 2 {
		t.Errorf("of %d events each was handed out alone", written)
	}
}

func otherLog(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	var tail journal.Tail
	for i := range 5 {
		tail = Append(t, j, "roof.acme.j-1", tail, Event(i))
	}
	end, err := j.End(t.Context(), journal.Roof)
	if err != nil {
		t.Fatal(err)
	}
	if end.Sequence != tail.Sequence || end.Digest != tail.Digest || !end.Created.Equal(j.Created(journal.Roof)) {
		t.Errorf("end %v, want %v", end, tail)
	}
	for name, change := range map[string]func(*journal.Position){
		"made at another time": func(p *journal.Position) { p.Created = p.Created.Add(time.Nanosecond) },
		"beyond the end":       func(p *journal.Position) { p.Sequence++ },
		"another event":        func(p *journal.Position) { p.Sequence-- },
		"another digest":       func(p *journal.Position) { p.Digest[0] ^= 1 },
	} {
		from := end
		change(&from)
		if _, err := Read(t.Context(), j, journal.Roof, from, 1); !errors.Is(err, journal.ErrOtherLog) {
			t.Errorf("%s: %v", name, err)
		}
	}
	broken := errors.New("handle says no")
	err = j.Follow(t.Context(), journal.Roof, journal.Position{}, func([]journal.Entry, bool) error { return broken })
	if !errors.Is(err, broken) {
		t.Errorf("follow ended with %v", err)
	}
}
