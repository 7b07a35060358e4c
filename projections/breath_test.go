package projections

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"
)

// TestBreath takes pauses after batches of several lengths, with somebody who begins to wait and without.
func TestBreath(t *testing.T) {
	t.Parallel()
	const never = time.Hour
	for _, c := range []struct {
		name              string
		took, waits, want time.Duration
	}{
		{"a short batch", 0, never, 5 * time.Millisecond},
		{"a batch of 10 ms", 10 * time.Millisecond, never, 90 * time.Millisecond},
		{"a long batch", time.Minute, never, mostBreath},
		{"somebody waits at once", time.Minute, 0, 5 * time.Millisecond},
		{"somebody begins to wait", time.Minute, 30 * time.Millisecond, 30 * time.Millisecond},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				b := newBreath()
				ctx, cancel := context.WithCancel(t.Context())
				go func() {
					if pause(ctx, c.waits) == nil {
						defer b.begin()()
						<-ctx.Done()
					}
				}()
				began := time.Now()
				if err := b.take(t.Context(), c.took); err != nil || time.Since(began) != c.want {
					t.Errorf("paused %v (%v), want %v", time.Since(began), err, c.want)
				}
				cancel()
				synctest.Wait()
				// Whoever has waited shortens no later pause.
				began = time.Now()
				if err := b.take(t.Context(), time.Minute); err != nil || time.Since(began) != mostBreath {
					t.Errorf("then paused %v (%v), want %v", time.Since(began), err, mostBreath)
				}
				if err := b.take(ctx, time.Minute); !errors.Is(err, context.Canceled) {
					t.Errorf("paused though told to end: %v", err)
				}
			})
		})
	}
}
