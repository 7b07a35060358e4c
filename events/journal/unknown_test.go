package journal_test

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// F25: answers and requests are lost at random; writers who look for their own id write each event once.
func TestAnswersLost(t *testing.T) {
	chance := journaltest.Seed(t)
	s := journaltest.StartServer(t, nil)
	p := journaltest.StartProxy(t, s)
	j := journaltest.OpenWith(t, p.Options())
	ctx, cancel := context.WithCancel(t.Context())
	var cutter sync.WaitGroup
	cutter.Go(func() {
		for tick := time.NewTicker(200 * time.Millisecond); ctx.Err() == nil; {
			select {
			case <-tick.C:
				if chance.IntN(2) == 0 {
					p.CutAfter(journaltest.Answers, chance.IntN(20_000))
				} else {
					p.CutAfter(journaltest.Requests, chance.IntN(20_000))
				}
			case <-ctx.Done():
				tick.Stop()
			}
		}
	})
	const writers, each = 6, 25
	answered := make([]map[string]uint64, writers)
	var group sync.WaitGroup
	for w := range writers {
		answered[w] = map[string]uint64{}
		group.Go(func() {
			for n := range each {
				e := journaltest.Event(w*each + n)
				subject := fmt.Sprintf("roof.acme.j-%d", w%2) // three writers each
				sequence, err := journaltest.Persist(t.Context(), j, subject, e, 2*time.Second)
				if err != nil {
					t.Error(err)
					return
				}
				answered[w][e.ID] = sequence
			}
		})
	}
	group.Wait()
	cancel()
	cutter.Wait()

	direct := journaltest.OpenWith(t, s.Options())
	stored := 0
	for n := range 2 {
		subject := fmt.Sprintf("roof.acme.j-%d", n)
		all := map[string]uint64{}
		for w := n; w < writers; w += 2 {
			for id, sequence := range answered[w] {
				all[id] = sequence
			}
		}
		events := journaltest.Load(t, direct, subject, 0)
		journaltest.Once(t, events, all)
		stored += len(events)
	}
	if stored != writers*each {
		t.Errorf("%d events stored, want %d", stored, writers*each)
	}
}

// A follower loses its connection again and again, and its server, and still sees every event once, in order.
func TestFollowerCutOff(t *testing.T) {
	chance := journaltest.Seed(t)
	s := journaltest.StartServer(t, nil)
	p := journaltest.StartProxy(t, s)
	follower := journaltest.OpenWith(t, p.Options())
	const n = 2400
	got := make(chan journal.Entry, n)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- follower.Follow(ctx, journal.Roof, journal.Position{}, func(events []journal.Entry, _ bool) error {
			for _, e := range events {
				got <- e
			}
			if len(events) > 0 && chance.IntN(3) == 0 {
				p.CutAfter(journaltest.Answers, chance.IntN(100_000))
			}
			return nil
		})
	}()
	func() { // this writer's connection ends before its server does
		writer, err := journal.Open(t.Context(), s.Options())
		if err != nil {
			t.Fatal(err)
		}
		var tail journal.Tail
		for i := range n / 2 {
			tail = journaltest.Append(t, writer, subject, tail, journaltest.Event(i))
		}
		if err := writer.Close(); err != nil {
			t.Fatal(err)
		}
	}()
	s.Stop()
	s.Start(t)
	writer := journaltest.OpenWith(t, s.Options())
	events := journaltest.Load(t, writer, subject, 0)
	tail := events[len(events)-1].Tail()
	for i := n / 2; i < n; i++ {
		tail = journaltest.Append(t, writer, subject, tail, journaltest.Event(i))
	}
	for i := range n {
		if e := <-got; e.Sequence != uint64(i+1) {
			t.Fatalf("event %d came in place %d", e.Sequence, i+1)
		}
	}
	cancel()
	if err := <-done; err == nil {
		t.Error("follow ended without an error")
	}
}
