package roofjob_test

import (
	"testing"
	"time"

	"bydark/events"
)

// A crew of two that takes twice the given time, report after report, is learned to be slow;
// withdrawn reports teach nothing.
func TestPacesAreLearnedFromReports(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, 0, "lead", events.DayStarted{Heads: 2, ShiftEnd: morning.Add(9 * time.Hour)}))
	must(t, tell(s, 2, time.Second, "lead", events.DeckOpened{Where: "A"}))
	if got := s.Paces(); len(got) != 0 {
		t.Fatalf("before any work: %+v", got)
	}
	// 50 sqft of felt is 12.5 person-minutes given; they take 25, 12.5 for the two.
	at := time.Duration(0)
	for n := range 4 {
		at += 12*time.Minute + 30*time.Second
		must(t, tell(s, 10+n, at, "lead", events.LayerLaid{Where: "A", Step: "felt", Amount: amount(t, "50 sqft")}))
	}
	got := s.Paces()
	if len(got) != 1 || got[0].Step != "felt" || got[0].Reports != 4 {
		t.Fatalf("four reports taught %+v", got)
	}
	// Four heard and one believed before: 2^(4/5).
	if p := got[0]; p.Times < 1.74 || p.Times > 1.75 || p.Low > p.Times || p.High < 2 {
		t.Errorf("learned %+v", p)
	}
	for n := range 4 {
		must(t, tell(s, 20+n, at+time.Minute, "lead", events.ReportWithdrawn{Report: id(10 + n), Reason: "wrong roof"}))
	}
	if got := s.Paces(); len(got) != 0 {
		t.Errorf("what was withdrawn taught %+v", got)
	}
}
