package facade

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
)

// S41: of fifty dear calculations no more run at once than there is room for, all have their turn, and one whose asker is gone leaves the queue.
func TestFewReckonAtOnce(t *testing.T) {
	t.Parallel()
	r := newReckoning()
	var running, most atomic.Int64
	var all sync.WaitGroup
	for range 50 {
		all.Go(func() {
			done, err := r.enter(t.Context())
			if err != nil {
				t.Error(err)
				return
			}
			defer done()
			n := running.Add(1)
			defer running.Add(-1)
			for seen := most.Load(); n > seen && !most.CompareAndSwap(seen, n); seen = most.Load() {
			}
		})
	}
	all.Wait()
	if n := most.Load(); n > int64(cap(r)) || n == 0 {
		t.Errorf("%d ran at once, there is room for %d", n, cap(r))
	}
	for range cap(r) {
		if _, err := r.enter(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	gone, leave := context.WithCancelCause(t.Context())
	left := errors.New("the asker left")
	leave(left)
	if _, err := r.enter(gone); !errors.Is(err, left) {
		t.Errorf("whoever is gone is answered %v", err)
	}
}
