package projections_test

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections"
	"bydark/projections/projectiontest"
)

// benchEvents is how many events are folded: BYDARK_BENCH_EVENTS, or 20,000.
func benchEvents(b *testing.B) int {
	b.Helper()
	said := os.Getenv("BYDARK_BENCH_EVENTS")
	if said == "" {
		return 20_000
	}
	n, err := strconv.Atoi(said)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// BenchmarkFold folds a log of 200 jobs into the record and a view of one row an event's word, by way of a rebuild and of a runner that is
// behind (batches of 1,000). Each is measured beside reading the log alone, done right before it, and says what share of that speed it has.
func BenchmarkFold(b *testing.B) {
	n := benchEvents(b)
	dir := b.TempDir()
	fillUnsynced(b, dir, n, 200)
	h := &house{log: journaltest.OpenWith(b, journal.Options{Dir: dir, AnyFileSystem: true, Spare: 1})}
	for _, k := range []struct {
		name string
		open func() *projections.Store
	}{
		{"sqlite", func() *projections.Store { return openSQLite(b, b.TempDir()) }},
		{"postgres", func() *projections.Store { return openPostgres(b) }},
	} {
		b.Run(k.name+" rebuild", func(b *testing.B) {
			s := k.open()
			defer closeStore(b, s)
			c := h.config(s)
			c.Keep, c.Hold = 0, 0
			r := projections.NewRunner(c)
			beside(b, h, n, func() {
				if _, err := r.Rebuild(b.Context()); err != nil {
					b.Fatal(err)
				}
			})
		})
		b.Run(k.name+" batches of 1000", func(b *testing.B) {
			var stores []*projections.Store
			beside(b, h, n, func() {
				s := k.open()
				stores = append(stores, s)
				fresh := newHouse(b)
				c := fresh.config(s)
				c.Keep, c.Hold = 0, 0
				if err := projections.NewRunner(c).CatchUp(b.Context()); err != nil { // an empty log, so that nothing is rebuilt
					b.Fatal(err)
				}
				c.Journal = h.log
				r := projections.NewRunner(c)
				if err := r.CatchUp(b.Context()); err != nil {
					b.Fatal(err)
				}
				if st := r.Status(); st.Rebuilds > 0 || st.Batches < uint64(n/1000) {
					b.Fatalf("not in batches: %+v", st)
				}
			})
			for _, s := range stores {
				closeStore(b, s)
			}
		})
	}
}

// beside measures reading the log alone and then what folds it, in turn.
func beside(b *testing.B, h *house, n int, fold func()) {
	b.Helper()
	var reading, folding time.Duration
	for b.Loop() {
		begun := time.Now()
		readAll(b, h, n)
		reading += time.Since(begun)
		begun = time.Now()
		fold()
		folding += time.Since(begun)
	}
	b.ReportMetric(float64(n*b.N)/folding.Seconds(), "folded/s")
	b.ReportMetric(float64(n*b.N)/reading.Seconds(), "read/s")
	b.ReportMetric(reading.Seconds()/folding.Seconds(), "of-reading")
	b.ReportMetric(0, "ns/op")
}

// readAll reads a log from end to end.
func readAll(b *testing.B, h *house, n int) {
	b.Helper()
	events := 0
	err := h.log.Follow(b.Context(), journal.Roof, journal.Position{}, func(entries []journal.Entry, _ bool) error {
		if events += len(entries); events >= n {
			return context.Canceled
		}
		return nil
	})
	if events < n {
		b.Fatal(err)
	}
}

// fillUnsynced writes a log into a directory by a broker that does not sync, which is ten times as fast.
func fillUnsynced(b *testing.B, dir string, n, jobs int) {
	b.Helper()
	s := journaltest.StartServer(b, func(o *server.Options) { o.SyncAlways, o.StoreDir = false, filepath.Join(dir, "broker") })
	o := s.Options()
	o.Monitor, o.DurabilityUnverified = nil, true
	j, err := journal.Open(b.Context(), o)
	if err != nil {
		b.Fatal(err)
	}
	(&house{log: j}).fill(b, n, jobs)
	if err := j.Close(); err != nil {
		b.Fatal(err)
	}
	s.Stop()
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
