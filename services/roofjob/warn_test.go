package roofjob_test

import (
	"context"
	"encoding/json/jsontext"
	"log/slog"
	"sync"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/assembly"
	"bydark/services/roofjob"
)

// warning warns unless something was warned already.
func warning(s *roofjob.State) (events.Body, error) {
	if len(s.Warnings()) > 0 {
		return nil, nil
	}
	return events.ExposureWarned{Night: "2026-05-04", Cause: events.Hours, Why: "A is open."}, nil
}

// Of many processes that warn of one thing on one log, one does, and nobody withdraws it.
func TestManyWarnAndOneIsHeard(t *testing.T) {
	t.Parallel()
	log, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir(), AnyFileSystem: true, Spare: 1, Log: slog.New(slog.DiscardHandler)})
	must(t, err)
	t.Cleanup(func() { must(t, log.Close()) })
	clock := func() time.Time { return morning }
	doc, err := assembly.Document("flat-clip")
	must(t, err)
	services := make([]*roofjob.Service, 6)
	for i := range services {
		services[i] = roofjob.NewService(log, clock, nowhere)
	}
	_, err = services[0].Open(t.Context(), "firm", roofjob.Opening{Job: "gable", Body: events.JobOpened{
		Name: "Gable", Site: events.Site{Lat: 40, Lon: -75, Zone: "America/New_York"}, Roof: jsontext.Value(gable), Assembly: doc,
	}}, roofjob.Actor{Person: "boss"})
	must(t, err)
	var all sync.WaitGroup
	said := make([]bool, len(services))
	for i, s := range services {
		all.Go(func() {
			_, did, err := s.Warn(context.WithoutCancel(t.Context()), "firm", "gable", morning, warning)
			if err != nil {
				t.Error(err)
			}
			said[i] = did
		})
	}
	all.Wait()
	entries, err := log.Load(t.Context(), "roof.firm.gable", 0)
	must(t, err)
	count := 0
	for _, did := range said {
		if did {
			count++
		}
	}
	if count != 1 || len(entries) != 2 {
		t.Fatalf("%d say that they warned, and the log has %d events; want 1 and 2", count, len(entries))
	}
	_, err = services[0].Take(t.Context(), "firm", "gable", events.Report{
		ID: id(7), At: morning, Body: events.ReportWithdrawn{Report: events.ReportID(entries[1].ID), Reason: "does not suit me"},
	}, roofjob.Actor{Person: "boss", OthersReports: true})
	if r := events.RefusalIn(err); r == nil || r.Code != "not-withdrawable" {
		t.Errorf("withdrawing a warning gave %v", err)
	}
	if _, did, err := services[3].Warn(t.Context(), "firm", "no-such-job", morning, warning); did || err != nil {
		t.Errorf("a job that never was: %v, %v", did, err)
	}
}

// A warning is no report: it changes neither when the job was last reported on nor what
// its places are, and a late report leaves it where it was.
func TestAWarningIsNoReport(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Hour, "lead", events.DeckOpened{Where: "A"}))
	before, places := s.Latest(), s.Places()
	must(t, s.Add(events.Event{ID: id(900), At: morning.Add(5 * time.Hour), By: events.Self, Sequence: s.Last() + 1, Body: events.ExposureWarned{Why: "A is open."}}))
	must(t, tell(s, 2, 2*time.Hour, "lead", events.DeckOpened{Where: "A"}))
	if len(s.Warnings()) != 1 || !before.Before(s.Latest()) || s.Latest() != morning.Add(2*time.Hour) || len(places) != len(s.Places()) {
		t.Errorf("%d warnings, latest report %s after %s", len(s.Warnings()), s.Latest(), before)
	}
}

// nowhere knows of no report in another job.
func nowhere(context.Context, events.CompanyID, events.ReportID) events.JobID { return "" }
