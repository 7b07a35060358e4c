package projections

import (
	"context"
	"sync/atomic"
	"time"
)

// Bounds of the pause after a batch that left nothing behind. The longest is what the views may be behind in a burst when nobody waits.
const (
	leastBreath = 5 * time.Millisecond
	mostBreath  = 500 * time.Millisecond
	// breaths is how many times as long as the batch took the pause is: folding takes a tenth of a processor, and leaves the rest to those
	// who report.
	breaths = 9
)

// breath is the pause between two batches of live folding. A lone event is folded at once; in a burst the pause lets events gather that
// one transaction then writes. It ends when somebody waits to be shown an event.
type breath struct {
	waiting atomic.Int64  // callers that are waiting now
	woken   chan struct{} // holds one signal when somebody has begun to wait
}

func newBreath() breath { return breath{woken: make(chan struct{}, 1)} }

// begin counts a caller that waits for an event; the function that it gives counts it off.
func (b *breath) begin() (end func()) {
	b.waiting.Add(1)
	select {
	case b.woken <- struct{}{}:
	default: // signalled already
	}
	return func() { b.waiting.Add(-1) }
}

// take pauses after a batch that took so long.
func (b *breath) take(ctx context.Context, took time.Duration) error {
	if err := pause(ctx, leastBreath); err != nil {
		return err
	}
	t := time.NewTimer(min(breaths*took, mostBreath) - leastBreath)
	defer t.Stop()
	for b.waiting.Load() == 0 {
		select {
		case <-b.woken:
		case <-t.C:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
