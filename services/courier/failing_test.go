package courier

import (
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"

	"bydark/events"
	"bydark/events/journal"
)

// F40: a receiver that fails is tried again under the same id and then set aside; the
// next event goes out; what was set aside can be listed, read and sent again.
func TestFailsIsSetAsideAndSentAgain(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	var mu sync.Mutex
	well := false // guarded by mu
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, got received) {
		mu.Lock()
		defer mu.Unlock()
		if !well && strings.Contains(got.words, "first") {
			http.Error(w, "secret inside of the receiver", http.StatusInternalServerError)
		}
	})
	id, _ := h.subscribe(Wish{To: r.URL})
	event := h.report("shed", "first")
	h.report("shed", "second")
	var ids []string
	for range quick.Tries {
		got := r.next(t)
		if !strings.Contains(got.words, "first") {
			t.Fatalf("attempt %d is at %q", len(ids)+1, got.words)
		}
		ids = append(ids, got.id)
	}
	if ids = slices.Compact(ids); len(ids) != 1 || !strings.HasPrefix(ids[0], string(event)) {
		t.Errorf("attempts under the ids %q", ids)
	}
	if got := r.next(t); !strings.Contains(got.words, "second") {
		t.Fatalf("after it came %q", got.words)
	}
	list := h.undelivered()
	if len(list) != 1 || list[0].Reader != string(id) || list[0].ID != string(event) || list[0].Reason != "it answered 500" || list[0].Handler == "" || list[0].Sequence == 0 {
		t.Fatalf("set aside: %+v", list)
	}
	if f := h.courier.Figures(); f.Aside != 1 || f.Retries != uint64(quick.Tries-1) || f.Delivered > 1 {
		t.Errorf("it counts %+v", f)
	}
	if _, aside, err := h.courier.Backlog(t.Context()); err != nil || aside != 1 {
		t.Errorf("%d are said to be set aside, %v", aside, err)
	}
	letter, err := h.courier.Read(t.Context(), h.owner.Company, list[0].Number)
	if err != nil || letter.Message == nil || letter.Message.Words != "Loose end at A: first (stops nothing)." {
		t.Errorf("read: %+v, %v", letter, err)
	}
	if _, err := h.courier.Read(t.Context(), "another-company", list[0].Number); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("another company reads it: %v", err)
	}
	if err := h.courier.SendAgain(t.Context(), h.owner.Company, list[0].Number); events.RefusalIn(err) == nil || len(h.undelivered()) != 1 {
		t.Errorf("sent to a receiver that still fails: %v", err)
	}
	r.next(t)
	mu.Lock()
	well = true
	mu.Unlock()
	if err := h.courier.SendAgain(t.Context(), h.owner.Company, list[0].Number); err != nil {
		t.Fatal(err)
	}
	if got := r.next(t); got.id != ids[0] || len(h.undelivered()) != 0 {
		t.Errorf("sent again under %s, first under %s; %d left", got.id, ids[0], len(h.undelivered()))
	}
	if err := h.courier.SendAgain(t.Context(), h.owner.Company, list[0].Number); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("sent a third time: %v", err)
	}
	if f := h.courier.Figures(); f.Delivered != 2 {
		t.Errorf("it counts %+v", f)
	}
	for { // the second may still be on its way to being acknowledged
		waiting, aside, err := h.courier.Backlog(t.Context())
		if err != nil || aside != 0 {
			t.Fatalf("%d are said to be set aside, %v", aside, err)
		}
		if waiting == 0 {
			break
		}
	}
}

// F40: one that hangs, and one that is not there at all, hold up nobody else.
func TestOneHangsTheOtherHears(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	release := make(chan struct{})
	hangs := receive(t, func(_ http.ResponseWriter, q *http.Request, _ received) {
		select {
		case <-release:
		case <-q.Context().Done():
		}
	})
	t.Cleanup(func() { close(release) })
	hears := receive(t, nil)
	gone := httptest.NewServer(nil)
	gone.Close()
	h.subscribe(Wish{To: hangs.URL})
	h.subscribe(Wish{To: gone.URL})
	h.subscribe(Wish{To: hears.URL})
	h.report("shed", "0")
	hangs.next(t)
	hears.next(t)
	for i := 1; i < 20; i++ {
		h.report("shed", fmt.Sprint(i))
		if got := hears.next(t); !strings.Contains(got.words, fmt.Sprintf("A: %d (", i)) {
			t.Fatalf("report %d is told as %q", i, got.words)
		}
	}
	h.stop() // does not wait for the one that hangs
}

// A receiver that answers 410 is stopped; what it was not told waits for it.
func TestGoneIsStopped(t *testing.T) {
	t.Parallel()
	h := open(t, nil)
	var mu sync.Mutex
	gone := true // guarded by mu
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, _ received) {
		mu.Lock()
		defer mu.Unlock()
		if gone {
			w.WriteHeader(http.StatusGone)
		}
	})
	id, _ := h.subscribe(Wish{To: r.URL})
	h.report("shed", "one")
	r.next(t)
	h.until("it is stopped", func() bool {
		s, err := h.people.Subscriber(h.owner.Company, id)
		return err == nil && strings.Contains(s.Stopped, "410")
	})
	h.report("shed", "two")
	h.report("shed", "three")
	mu.Lock()
	gone = false
	mu.Unlock()
	if err := h.people.ResumeSubscriber(t.Context(), h.owner, id); err != nil {
		t.Fatal(err)
	}
	for got := r.next(t); !strings.Contains(got.words, "three"); got = r.next(t) {
	}
}

// A receiver that never works is stopped after so many events in a row, and the rest
// waits in the log.
func TestStoppedAfterManyInARow(t *testing.T) {
	t.Parallel()
	h := open(t, func(c *Config) { c.Patience.InARow, c.Patience.Tries = 4, 1 })
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, _ received) { w.WriteHeader(http.StatusBadGateway) })
	id, _ := h.subscribe(Wish{To: r.URL})
	for i := range 12 {
		h.report("shed", fmt.Sprint(i))
	}
	h.until("it is stopped", func() bool {
		s, err := h.people.Subscriber(h.owner.Company, id)
		return err == nil && strings.Contains(s.Stopped, "4 events in a row")
	})
	if n := len(h.undelivered()); n < 4 || n > 5 {
		t.Errorf("%d are set aside, want 4", n)
	}
}
