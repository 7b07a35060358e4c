package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bydark/events"
	"bydark/projections/projectiontest"
	"bydark/services/access"
)

// BenchmarkBoard asks for the board of 200 roofs (BYDARK_BENCH_ROOFS) while 500 reports a second come in (BYDARK_BENCH_REPORTS), each in a
// request of its own, and tells the times in milliseconds that half and that 99 of 100 answers stay below, and how many reports were taken
// in a second. 1,000 answers and more (-benchtime 1000x) tell something.
func BenchmarkBoard(b *testing.B) {
	roofs, perSecond := benchNumber(b, "BYDARK_BENCH_ROOFS", 200), benchNumber(b, "BYDARK_BENCH_REPORTS", 500)
	for _, k := range []struct {
		name string
		at   func() elsewhere
	}{
		{"sqlite", func() elsewhere { return elsewhere{} }},
		{"postgres", func() elsewhere { return elsewhere{Postgres: projectiontest.Postgres(b)} }},
	} {
		b.Run(k.name, func(b *testing.B) {
			r := startIn(b, k.at(), time.Now)
			var last uint64
			for i := range roofs {
				r.crew.open(fmt.Sprintf("job-%d", i))
			}
			last = r.crew.accept("job-0", tell("first", "panel-set", 0, roofReport{"piece": "A-01"}))
			r.crew.isFolded("job-0", last)
			var taken atomic.Int64
			begun := time.Now()
			stop := r.crew.flood(roofs, perSecond, &taken)
			var took []time.Duration
			for b.Loop() {
				asked := time.Now()
				if status, text := r.crew.ask(http.MethodGet, "/v1/jobs", r.crew.tokens[access.Inspector], ""); status != http.StatusOK {
					b.Fatalf("the board: %d %s", status, text)
				}
				took = append(took, time.Since(asked))
			}
			b.ReportMetric(float64(taken.Load())/time.Since(begun).Seconds(), "reports/s")
			stop()
			slices.Sort(took)
			b.ReportMetric(took[len(took)/2].Seconds()*1000, "p50-ms")
			b.ReportMetric(took[len(took)*99/100].Seconds()*1000, "p99-ms")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// flood sends reports to all roofs, so many a second, until it is stopped. Three people send them, because nobody alone may send so many.
func (c *crew) flood(roofs, perSecond int, taken *atomic.Int64) (stop func()) {
	ctx, cancel := context.WithCancel(c.t.Context())
	due := make(chan int, perSecond)
	var all sync.WaitGroup
	all.Go(func() {
		defer close(due)
		tick := time.NewTicker(time.Second / time.Duration(perSecond))
		defer tick.Stop()
		for n := 0; ; n++ {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
			select {
			case due <- n:
			default: // the service is behind
			}
		}
	})
	senders := []events.Role{access.Owner, access.Manager, access.Lead}
	for range 16 {
		all.Go(func() {
			for n := range due {
				report := tell(fmt.Sprint("flood ", n), "panel-set", n%600, roofReport{"piece": fmt.Sprintf("A-%02d", 1+n%12)})
				body := written(c.t, map[string]any{"reports": []any{report}})
				status, _, err := c.try(http.MethodPost, fmt.Sprintf("/v1/jobs/job-%d/reports", rand.IntN(roofs)), c.tokens[senders[n%3]], body)
				if err == nil && status == http.StatusOK {
					taken.Add(1)
				}
			}
		})
	}
	return func() {
		cancel()
		all.Wait()
	}
}
