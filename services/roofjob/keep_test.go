package roofjob_test

import (
	"bytes"
	"context"
	"encoding/json/jsontext"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/assembly"
	"bydark/services/roofjob"

	"github.com/google/go-cmp/cmp"
)

// keeper is a service on a log, its clock, and what it says.
type keeper struct {
	*roofjob.Service
	said bytes.Buffer
}

func keeperOn(j *journal.Journal) *keeper {
	nobody := func(context.Context, events.CompanyID, events.ReportID) events.JobID { return "" }
	k := &keeper{Service: roofjob.NewService(j, func() time.Time { return morning.Add(900 * time.Hour) }, nobody)}
	k.Log = slog.New(slog.NewTextHandler(&k.said, nil))
	return k
}

var boss = roofjob.Actor{Person: "boss", OthersReports: true}

func (k *keeper) tell(t testing.TB, job events.JobID, n int, after time.Duration, body events.Body) roofjob.Outcome {
	t.Helper()
	got, err := k.Take(t.Context(), "acme", job, events.Report{ID: id(n), At: morning.Add(after), Body: body}, boss)
	if err != nil {
		t.Fatalf("report %d, %T: %v", n, body, err)
	}
	return got
}

// kept opens a job, tells much of it, some late and some taken back, and has its snapshot written as the service ends.
func kept(t testing.TB, j *journal.Journal, job events.JobID, what string) {
	t.Helper()
	k := keeperOn(j)
	doc, err := assembly.Document("flat-clip")
	must(t, err)
	_, err = k.Open(t.Context(), "acme", roofjob.Opening{Job: job, Body: events.JobOpened{
		Name: "Gable", Site: events.Site{Lat: 40, Lon: -75, Zone: "America/New_York"}, Roof: jsontext.Value(gable), Assembly: doc,
	}}, boss)
	must(t, err)
	for n := 1; n <= 80; n++ {
		after := time.Duration(n) * time.Minute
		if n%7 == 0 {
			after -= time.Hour
		}
		k.tell(t, job, n, after, events.PunchRaised{Where: "A", What: fmt.Sprintf("%s %d", what, n), Blocks: events.BlocksCloseout})
	}
	k.tell(t, job, 101, 101*time.Minute, events.ReportWithdrawn{Report: id(5), Reason: "wrong roof"})
	ctx, end := context.WithCancel(t.Context())
	end()
	if err := k.Run(ctx); !errors.Is(err, context.Canceled) || k.said.Len() > 0 {
		t.Fatalf("ended with %v, said %s", err, k.said.String())
	}
}

// What is on the shelf may be of another release, job or log, or damaged: reports are decided as the log says, and the log of the service
// tells what was not used.
func TestSnapshotsAreNotTrusted(t *testing.T) {
	t.Parallel()
	const job, subject = "gable", "roof.acme.gable"
	for _, kind := range journaltest.Kinds() {
		t.Run(kind.Name, func(t *testing.T) {
			t.Parallel()
			other := kind.Start(t)(t)
			kept(t, other, job, "a scratch of another log")
			j := kind.Start(t)(t)
			kept(t, j, job, "a scratch")
			good, err := j.Shelved(t.Context(), subject)
			must(t, err)
			foreign, err := other.Shelved(t.Context(), subject)
			must(t, err)
			later := slices.Clone(good)
			later[8]++ // the fold's version; its sum is wrong then, too
			flipped := slices.Clone(good)
			flipped[len(flipped)/2] ^= 1
			next := 200
			for _, c := range []struct {
				name, said string
				data       []byte
			}{
				{"as written", "", good}, {"of another log", "does not fit the log", foreign}, {"cut", "cannot be used", good[:len(good)/2]},
				{"empty", "cannot be used", nil}, {"a bit flipped", "cannot be used", flipped}, {"another version", "cannot be used", later},
			} {
				must(t, j.Shelve(t.Context(), subject, c.data))
				k := keeperOn(j)
				next++
				if got := k.tell(t, job, 7, -53*time.Minute, events.PunchRaised{Where: "A", What: "a scratch 7", Blocks: events.BlocksCloseout}); got.Status != roofjob.Repeated {
					t.Errorf("%s: a report sent again is %s", c.name, got.Status)
				}
				k.tell(t, job, next, time.Duration(next)*time.Minute, events.PunchFixed{Item: id(next - 200)})
				next++
				k.tell(t, job, next, -time.Duration(next)*time.Hour, events.DeckOpened{Where: "A"}) // late: nine days and more
				next++
				k.tell(t, job, next, time.Duration(next)*time.Minute, events.ReportWithdrawn{Report: id(next - 1), Reason: "it was B"})
				_, err := k.Take(t.Context(), "acme", job, events.Report{ID: id(999), At: morning.Add(800 * time.Hour), Body: events.JobClosed{}}, boss)
				refused := events.RefusalIn(err)
				whole, err := roofjob.Fold("acme", job, journaltest.Load(t, j, subject, 0))
				must(t, err)
				if refused == nil || cmp.Diff(whole.MissingCloseout(), refused.Missing) != "" {
					t.Errorf("%s: closing says %+v", c.name, refused)
				}
				if said := k.said.String(); c.said == "" && said != "" || !strings.Contains(said, c.said) {
					t.Errorf("%s: said %q", c.name, said)
				}
			}
		})
	}
}
