package main

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"

	"github.com/google/uuid"
	"github.com/nats-io/nats-server/v2/server"
)

// benchNumber is a size of a benchmark, by environment variable.
func benchNumber(b *testing.B, name string, usual int) int {
	b.Helper()
	said := os.Getenv(name)
	if said == "" {
		return usual
	}
	n, err := strconv.Atoi(said)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// BenchmarkRebuild folds all views of the program from the beginning, of BYDARK_BENCH_EVENTS events (20,000) in jobs of some 500, on both
// databases, each time after it has read the same log alone, and says what share of that speed it has.
func BenchmarkRebuild(b *testing.B) {
	n := benchNumber(b, "BYDARK_BENCH_EVENTS", 20_000)
	dir := filepath.Join(b.TempDir(), "house")
	fillHouse(b, dir, n)
	for _, k := range []struct {
		name string
		dsn  func() string
	}{{"sqlite", func() string { return "" }}, {"postgres", func() string { return projectiontest.Postgres(b) }}} {
		b.Run(k.name, func(b *testing.B) {
			p := &program{ctx: b.Context(), now: time.Now, out: io.Discard, err: io.Discard, random: randomness, log: slog.New(slog.DiscardHandler)}
			h, err := openHouse(b.Context(), where{dir, elsewhere{Postgres: k.dsn()}}, p)
			if err != nil {
				b.Fatal(err)
			}
			defer func() {
				if err := h.close(); err != nil {
					b.Error(err)
				}
			}()
			var reading, folding time.Duration
			for b.Loop() {
				begun := time.Now()
				readAlone(b, h.journal, n)
				reading += time.Since(begun)
				begun = time.Now()
				if _, err := h.runner.Rebuild(b.Context()); err != nil {
					b.Fatal(err)
				}
				folding += time.Since(begun)
			}
			b.ReportMetric(float64(n*b.N)/folding.Seconds(), "folded/s")
			b.ReportMetric(float64(n*b.N)/reading.Seconds(), "read/s")
			b.ReportMetric(reading.Seconds()/folding.Seconds(), "of-reading")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// readAlone reads the reports from end to end and does nothing with them.
func readAlone(b *testing.B, j *journal.Journal, n int) {
	b.Helper()
	whole := errors.New("read to the end")
	read := 0
	err := j.Follow(b.Context(), journal.Roof, journal.Position{}, func(entries []journal.Entry, caughtUp bool) error {
		if read += len(entries); caughtUp {
			return whole
		}
		return nil
	})
	if !errors.Is(err, whole) || read != n {
		b.Fatalf("read %d events of %d: %v", read, n, err)
	}
}

// fillHouse writes n reports into a new directory: the demo's three roofs again and again, 64 at a time, with each measure taken a few more
// times, as a crew does that measures every course. The broker that takes them does not sync, which is ten times as fast.
func fillHouse(b *testing.B, dir string, n int) {
	b.Helper()
	played := demoReports(b)
	s := journaltest.StartServer(b, func(o *server.Options) { o.SyncAlways, o.StoreDir = false, filepath.Join(dir, "broker") })
	o := s.Options()
	o.Monitor, o.DurabilityUnverified, o.Log = nil, true, slog.New(slog.DiscardHandler)
	j, err := journal.Open(b.Context(), o)
	if err != nil {
		b.Fatal(err)
	}
	const writers = 64
	var all errgroup.Group
	for w := range writers {
		all.Go(func() error {
			left := n / writers
			if w < n%writers {
				left++
			}
			for job := w; left > 0; job += writers {
				told := played[job%len(played)]
				told = told[:min(left, len(told))]
				if err := copyJob(b.Context(), j, fmt.Sprintf("roof.larch-roofs.j%d", job), told); err != nil {
					return err
				}
				left -= len(told)
			}
			return nil
		})
	}
	if err := errors.Join(all.Wait(), j.Close()); err != nil {
		b.Fatal(err)
	}
	s.Stop()
}

// copyJob tells a job again as another, with ids of its own such as phones make: they begin with the time.
func copyJob(ctx context.Context, j *journal.Journal, subject string, told []journal.Entry) error {
	var ids []string
	for _, e := range told {
		if len(e.ID) == len(uuid.UUID{}.String()) { // others are of measures told again, to which nothing refers
			ids = append(ids, e.ID, phoneID(e, subject))
		}
	}
	renamed := strings.NewReplacer(ids...)
	var tail journal.Tail
	for i, e := range told {
		e.ID, e.Subject, e.Data = phoneID(e, subject), subject, []byte(renamed.Replace(string(e.Data)))
		var err error
		if tail, err = j.Append(ctx, subject, tail, e); err != nil {
			return fmt.Errorf("event %d of %s: %w", i, subject, err)
		}
	}
	return nil
}

// phoneID is an id for the same event of another job: a UUID of version 7 whose random part is of a digest (RFC 9562, section 5.7).
func phoneID(e journal.Entry, subject string) string {
	id := uuid.NewSHA1(uuid.NameSpaceURL, []byte(subject+" "+e.ID))
	var ms [8]byte
	binary.BigEndian.PutUint64(ms[:], uint64(e.Time.UnixMilli()))
	copy(id[:6], ms[2:])
	id[6] = 0x70 | id[6]&0x0f
	return id.String()
}

// demoReports are the demo's events by job, the measures multiplied.
func demoReports(b *testing.B) [][]journal.Entry {
	b.Helper()
	dir := filepath.Join(b.TempDir(), "demo")
	var errs strings.Builder
	if code := run([]string{"demo", "--once", "--dir", dir}, strings.NewReader(""), io.Discard, &errs); code != 0 {
		b.Fatalf("demo ends with %d: %s", code, errs.String())
	}
	j, err := journal.Open(b.Context(), journal.Options{Dir: dir, AnyFileSystem: true, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		b.Fatal(err)
	}
	byJob := map[string][]journal.Entry{}
	whole := errors.New("read to the end")
	err = j.Follow(b.Context(), journal.Roof, journal.Position{}, func(entries []journal.Entry, caughtUp bool) error {
		for _, e := range entries {
			byJob[e.Subject] = append(byJob[e.Subject], e)
			if e.Type != (events.Event{Body: events.MeasureTaken{}}).Type() {
				continue
			}
			for again := range 200 {
				more := e
				more.ID = fmt.Sprintf("%s-%d", e.ID, again)
				byJob[e.Subject] = append(byJob[e.Subject], more)
			}
		}
		if caughtUp {
			return whole
		}
		return nil
	})
	if err := errors.Join(j.Close()); err != nil || len(byJob) == 0 {
		b.Fatal(len(byJob), err)
	}
	if !errors.Is(err, whole) {
		b.Fatal(err)
	}
	var all [][]journal.Entry
	for _, subject := range slices.Sorted(maps.Keys(byJob)) {
		if job := byJob[subject]; len(job) > 100 { // one has only begun
			all = append(all, job)
		}
	}
	return all
}

// BenchmarkLateReport sends a report that happened before all others to a job of BYDARK_BENCH_EVENTS events (20,000), and waits until the
// views show it; beside it, the same of a job that has only begun (F39).
func BenchmarkLateReport(b *testing.B) {
	n := benchNumber(b, "BYDARK_BENCH_EVENTS", 20_000)
	r := start(b)
	r.crew.open("long")
	r.crew.open("short")
	var body []roofReport
	for i := range n {
		body = append(body, tell(fmt.Sprint("report ", i), "measure-taken", 1000+i, roofReport{"where": "eave-1", "of": "spacing", "values": []string{`20"`}}))
		if len(body) == 100 || i == n-1 {
			r.crew.isFolded("long", r.crew.accept("long", body...))
			body = nil
		}
	}
	for _, job := range []string{"short", "long"} {
		b.Run(job, func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				report := tell(fmt.Sprint(b.Name(), b.N, i), "measure-taken", i, roofReport{"where": "eave-1", "of": "spacing", "values": []string{`20"`}})
				r.crew.isFolded(job, r.crew.accept(job, report))
			}
		})
	}
}
