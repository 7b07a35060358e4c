package projections_test

import (
	"context"
	"fmt"
	"log/slog"
	"testing"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/projectiontest"
)

const benchEvents = 20_000

// BenchmarkFold folds a log into the record and a view of one row an event's word, by way of a rebuild (batches of 2,000) and of a runner
// that is behind (batches of 1,000), beside reading the log alone.
func BenchmarkFold(b *testing.B) {
	h := newHouse(b)
	h.fill(b, benchEvents, 200)
	b.Run("reading alone", func(b *testing.B) {
		for b.Loop() {
			n := 0
			err := h.log.Follow(b.Context(), journal.Roof, journal.Position{}, func(entries []journal.Entry, _ bool) error {
				if n += len(entries); n >= benchEvents {
					return context.Canceled
				}
				return nil
			})
			if n < benchEvents {
				b.Fatal(err)
			}
		}
		perSecond(b, benchEvents)
	})
	for name, open := range map[string]func() *projections.Store{
		"sqlite":   func() *projections.Store { return openSQLite(b, b.TempDir()) },
		"postgres": func() *projections.Store { return openPostgres(b) },
	} {
		b.Run(name+" rebuild", func(b *testing.B) {
			s := open()
			defer closeStore(b, s)
			c := h.config(s)
			c.Keep = 250
			r := projections.NewRunner(c)
			for b.Loop() {
				if _, err := r.Rebuild(b.Context()); err != nil {
					b.Fatal(err)
				}
			}
			perSecond(b, benchEvents)
		})
		b.Run(name+" batches of 1000", func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				s := open()
				fresh := newHouse(b)
				c := fresh.config(s)
				c.Keep = 250
				if err := projections.NewRunner(c).CatchUp(b.Context()); err != nil { // an empty log, so that nothing is rebuilt
					b.Fatal(err)
				}
				c.Journal = h.log
				r := projections.NewRunner(c)
				b.StartTimer()
				if err := r.CatchUp(b.Context()); err != nil {
					b.Fatal(err)
				}
				b.StopTimer()
				if st := r.Status(); st.Rebuilds > 0 || st.Batches < benchEvents/1000 {
					b.Fatalf("not in batches: %+v", st)
				}
				closeStore(b, s)
				b.StartTimer()
			}
			perSecond(b, benchEvents)
		})
	}
}

// BenchmarkOneEvent is the way of one event from the runner's hands into a view, with 1,000 rows of the job that do not change.
func BenchmarkOneEvent(b *testing.B) {
	for name, open := range map[string]func() *projections.Store{
		"sqlite":   func() *projections.Store { return openSQLite(b, b.TempDir()) },
		"postgres": func() *projections.Store { return openPostgres(b) },
	} {
		b.Run(name, func(b *testing.B) {
			s := open()
			defer closeStore(b, s)
			h := newHouse(b)
			words := `"w0"`
			for i := range 999 {
				words += fmt.Sprintf(`,"w%d"`, i+1)
			}
			h.say(b, "j", `[`+words+`]`)
			r := h.runner(s)
			run(b, r)
			wait(b, r, 1)
			for b.Loop() {
				wait(b, r, h.say(b, "j", `["w7"]`))
			}
		})
	}
}

func openPostgres(b *testing.B) *projections.Store {
	b.Helper()
	s, err := projections.OpenPostgres(b.Context(), projectiontest.Postgres(b), slog.New(slog.DiscardHandler))
	if err != nil {
		b.Fatal(err)
	}
	makeTables(b, s)
	return s
}

func perSecond(b *testing.B, events int) {
	b.ReportMetric(float64(events)*float64(b.N)/b.Elapsed().Seconds(), "events/s")
}
