package roofjob_test

import (
	"context"
	"encoding/json/jsontext"
	"fmt"
	"sync"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/assembly"
	"bydark/services/roofjob"

	"github.com/google/uuid"
)

// F28: 64 writers of four services, each of which knows only what it has written itself until it is told, report to one job at the same
// time. Everybody is answered, and what was answered is in the log once, at the place that was named.
func TestManyWritersOfOneJob(t *testing.T) {
	t.Parallel()
	for _, k := range journaltest.Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			open := k.Start(t)
			logs := []*journal.Journal{open(t)}
			for k.Name != "embedded" && len(logs) < 4 { // a directory has one process, and one journal
				logs = append(logs, open(t))
			}
			const services, writers = 4, 64
			nobody := func(context.Context, events.CompanyID, events.ReportID) events.JobID { return "" }
			var all [services]*roofjob.Service
			for i := range all {
				all[i] = roofjob.NewService(logs[i%len(logs)], time.Now, nobody)
			}
			who := roofjob.Actor{Person: "p-1", OthersReports: true}
			doc, err := assembly.Document("flat-clip")
			must(t, err)
			opening := roofjob.Opening{Job: "gable", Body: events.JobOpened{
				Name: "Gable", Site: events.Site{Lat: 40, Lon: -75, Zone: "America/New_York"}, Roof: jsontext.Value(gable), Assembly: doc,
			}}
			if _, err := all[0].Open(t.Context(), "acme", opening, who); err != nil {
				t.Fatal(err)
			}
			var mu sync.Mutex
			answered := map[string]uint64{}
			var group sync.WaitGroup
			for w := range writers {
				group.Go(func() {
					for n := range journaltest.Rounds(t, 3) {
						r := events.Report{
							ID: events.ReportID(uuid.Must(uuid.NewV7()).String()), At: time.Now(),
							Body: events.PunchRaised{Where: "A", What: fmt.Sprintf("scratch %d of %d", n, w), Blocks: "nothing"},
						}
						got, err := all[w%services].Take(t.Context(), "acme", opening.Job, r, who)
						if err != nil || got.Status != roofjob.Accepted {
							t.Errorf("writer %d: %+v, %v", w, got, err)
							return
						}
						mu.Lock()
						answered[string(r.ID)] = got.Sequence
						mu.Unlock()
					}
				})
			}
			group.Wait()
			entries := journaltest.Load(t, logs[0], "roof.acme."+string(opening.Job), 0)
			journaltest.Once(t, entries, answered)
			if len(entries) != 1+len(answered) {
				t.Errorf("%d events, %d were answered", len(entries), len(answered))
			}
		})
	}
}
