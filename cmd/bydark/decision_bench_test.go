package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/roofjob"

	"github.com/google/uuid"
	"github.com/nats-io/nats-server/v2/server"
)

// shortJobs is how many short jobs take turns, so that none becomes a long one.
const shortJobs = 64

// BenchmarkDecision takes a report into a job with few events and into one with many: warm, when the job's state is in memory, and cold, when
// it is read first: from the log, and from a snapshot when there is one, which is followed by as many events as were told since. All are in one log; the long one is the demo's, with measures taken again and again.
func BenchmarkDecision(b *testing.B) {
	dir := b.TempDir()
	sizes := map[string]int{"long": benchNumber(b, "BYDARK_BENCH_LONG", 50_000)}
	var short []events.JobID
	for i := range shortJobs {
		short = append(short, events.JobID(fmt.Sprintf("short-%d", i)))
		sizes[string(short[i])] = 50
	}
	fillJobs(b, dir, sizes)
	j, err := journal.Open(b.Context(), journal.Options{Dir: dir, AnyFileSystem: true, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := j.Close(); err != nil {
			b.Error(err)
		}
	})
	now := time.Now
	who := roofjob.Actor{Person: "p-1", OthersReports: true}
	nobody := func(context.Context, events.CompanyID, events.ReportID) events.JobID { return "" }
	service := func() *roofjob.Service { return roofjob.NewService(j, now, nobody) }
	take := func(s *roofjob.Service, job events.JobID) {
		report := events.Report{ID: events.ReportID(uuid.Must(uuid.NewV7()).String()), At: now(), Body: events.PunchRaised{Where: "A", What: "a scratch", Blocks: "nothing"}}
		if _, err := s.Take(b.Context(), "larch", job, report, who); err != nil {
			b.Fatal(err)
		}
	}
	// The long job's snapshot is written when a service ends.
	first := service()
	ctx, end := context.WithCancel(b.Context())
	ended := make(chan error)
	go func() { ended <- first.Run(ctx) }()
	begun := time.Now()
	take(first, "long")
	b.Logf("the first report on the long job, which is folded from its beginning: %v", time.Since(begun))
	end()
	<-ended
	for _, c := range []struct {
		name string
		jobs []events.JobID
	}{{"short", short}, {"long", []events.JobID{"long"}}} {
		b.Run("cold/"+c.name, func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				take(service(), c.jobs[i%len(c.jobs)])
			}
		})
		b.Run("warm/"+c.name, func(b *testing.B) {
			warm := service()
			for _, job := range c.jobs {
				take(warm, job)
			}
			b.ResetTimer()
			for i := 0; b.Loop(); i++ {
				take(warm, c.jobs[i%len(c.jobs)])
			}
		})
	}
}

// fillJobs writes jobs of so many events each into a new directory: what the demo reports of a roof, then its measures again and again.
func fillJobs(b *testing.B, dir string, jobs map[string]int) {
	b.Helper()
	told := demoReports(b)[0]
	measures := slices.DeleteFunc(slices.Clone(told), func(e journal.Entry) bool { return e.Type != (events.Event{Body: events.MeasureTaken{}}).Type() })
	s := journaltest.StartServer(b, func(o *server.Options) { o.SyncAlways, o.StoreDir = false, filepath.Join(dir, "broker") })
	o := s.Options()
	o.Monitor, o.DurabilityUnverified, o.Log = nil, true, slog.New(slog.DiscardHandler)
	j, err := journal.Open(b.Context(), o)
	if err != nil {
		b.Fatal(err)
	}
	for job, n := range jobs {
		all := slices.Clone(told[:min(n, len(told))])
		for i := 0; len(all) < n; i++ {
			e := measures[i%len(measures)]
			e.ID = fmt.Sprintf("%s-again-%d", e.ID, i)
			all = append(all, e)
		}
		if err := copyJob(b.Context(), j, "roof.larch."+job, all); err != nil {
			b.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		b.Fatal(err)
	}
	s.Stop()
}
