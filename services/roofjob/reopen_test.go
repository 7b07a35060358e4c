package roofjob_test

import (
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roofjob"
)

func placeOf(t testing.TB, s *roofjob.State, mark events.Place) roofjob.Place {
	t.Helper()
	p, ok := s.Place(mark)
	if !ok {
		t.Fatalf("no place %s", mark)
	}
	return p
}

func doneOf(t testing.TB, s *roofjob.State, mark events.Place, id events.StepID) float64 {
	t.Helper()
	for _, step := range placeOf(t, s, mark).Steps {
		if step.ID == id {
			return step.Fraction()
		}
	}
	t.Fatalf("no step %s at %s", id, mark)
	return 0
}

// half is half of what there is of a place.
func half(t testing.TB, s *roofjob.State, mark events.Place) *quantity.Amount {
	t.Helper()
	a, err := placeOf(t, s, mark).Extent.Share(quantity.Pieces(1), quantity.Pieces(2))
	must(t, err)
	return &a
}

// Wind takes the felt off half a plane: that half lies bare until it is laid again, under a cover only when one is laid after it.
func TestADeckOpenedAgainIsOpen(t *testing.T) {
	t.Parallel()
	s := opened(t)
	for n, body := range []events.Body{
		events.DeckOpened{Where: "A"}, events.CoverPlaced{Where: "A"}, events.LayerLaid{Where: "A", Step: "deck-check"},
		events.TrimInstalled{Where: "eave-1", Step: "eave-trim"}, events.LayerLaid{Where: "A", Step: "felt"},
		events.DeckOpened{Where: "A", Amount: half(t, s, "A")},
	} {
		must(t, tell(s, n+1, time.Duration(n)*time.Hour, "lead", body))
	}
	p := placeOf(t, s, "A")
	if !p.IsOpen() || p.BareShare() != 0.5 || doneOf(t, s, "A", "deck-check") != 0.5 {
		t.Errorf("with half the felt off A is %s, %s of it bare", p.State, p.Bare().Shown())
	}
	use, err := s.Used("felt")
	must(t, err)
	if now, err := use.Behind.Add(use.Behind); err != nil || now != use.Implied {
		t.Errorf("the felt that was laid is used: %s, of the takeoff %s is behind", use.Implied.Shown(), use.Behind.Shown())
	}
	if got := s.Oddities(); !strings.Contains(got[len(got)-1].What, "opened again") {
		t.Errorf("told of it: %+v", got)
	}
	must(t, tell(s, 10, 10*time.Hour, "lead", events.CoverPlaced{Where: "A"}))
	if got := stateOf(t, s, "A"); got != roofjob.Covered {
		t.Errorf("under a cover again A is %s", got)
	}
	must(t, tell(s, 11, 11*time.Hour, "lead", events.LayerLaid{Where: "A", Step: "deck-check"}))
	must(t, tell(s, 12, 12*time.Hour, "lead", events.LayerLaid{Where: "A", Step: "felt"}))
	if got := stateOf(t, s, "A"); got != "dried-in" {
		t.Errorf("laid again A is %s", got)
	}
	if use, err = s.Used("felt"); err != nil || use.Behind.Sign() <= 0 || use.Implied.Plain() < 1.49*use.Behind.Plain() {
		t.Errorf("laid one and a half times, used %s, %v", use.Implied.Shown(), err)
	}
}

// A deck opened in parts, or late reports of what is bare already, take nothing back.
func TestADeckOpenedInPartsIsNotOpenedAgain(t *testing.T) {
	t.Parallel()
	s := opened(t)
	for n, body := range []events.Body{
		events.DeckOpened{Where: "A", Amount: amount(t, "50 sqft")}, events.LayerLaid{Where: "A", Step: "deck-check", Amount: amount(t, "50 sqft")},
		events.LayerLaid{Where: "A", Step: "felt", Amount: amount(t, "50 sqft")}, events.DeckOpened{Where: "A", Amount: amount(t, "60 sqft")},
		events.DeckOpened{Where: "A"}, events.LayerLaid{Where: "A", Step: "deck-check"},
	} {
		must(t, tell(s, n+1, time.Duration(n)*time.Hour, "lead", body))
		if done, want := doneOf(t, s, "A", "felt") > 0, n >= 2; done != want {
			t.Fatalf("after %+v felt is laid: %v", body, done)
		}
	}
	s = opened(t)
	for n, body := range []events.Body{
		events.DeckOpened{Where: "A"}, events.LayerLaid{Where: "A", Step: "deck-check"}, events.DeckOpened{Where: "A"},
		events.LayerLaid{Where: "A", Step: "felt"}, events.DeckOpened{Where: events.WholeRoof},
	} {
		must(t, tell(s, n+1, time.Duration(n)*time.Hour, "lead", body))
	}
	if a, b := stateOf(t, s, "A"), stateOf(t, s, "B"); a != "dried-in" || b != "open" {
		t.Errorf("with the rest of the roof opened A is %s, B %s", a, b)
	}
	must(t, tell(s, 9, 9*time.Hour, "lead", events.DeckOpened{Where: events.WholeRoof}))
	if a := stateOf(t, s, "A"); a != "open" {
		t.Errorf("with all of the roof opened again A is %s", a)
	}
}

// finished is a roof with every step done, claimed, signed and closed.
func finished(t testing.TB) *roofjob.State {
	t.Helper()
	s := opened(t)
	for n, body := range build(s, 1) {
		must(t, tell(s, n+1, time.Duration(n)*time.Minute, "lead", body))
	}
	for i, c := range s.Checks() {
		must(t, tell(s, 1000+i, 910*time.Minute, "inspector", events.CheckSigned{Check: c.ID}))
	}
	must(t, tell(s, 1900, 915*time.Minute, "lead", events.WeatherTightReached{Where: events.WholeRoof}))
	must(t, tell(s, 2000, 920*time.Minute, "lead", events.JobClosed{}))
	return s
}

// A finished roof opened after it was claimed and closed is neither, and says so.
func TestAFinishedRoofOpenedAgain(t *testing.T) {
	t.Parallel()
	s := finished(t)
	must(t, tell(s, 2001, 30*time.Hour, "lead", events.DeckOpened{Where: "A"}))
	p := placeOf(t, s, "A")
	if !p.IsOpen() || p.BareShare() != 1 || doneOf(t, s, "A", "panels") != 0 || s.PercentClosed() == 100 {
		t.Errorf("A is %s, %s bare, %d %% closed", p.State, p.Bare().Shown(), s.PercentClosed())
	}
	if !s.Closed().IsZero() || s.Stage() == "closed" || s.Stage() == "weather-tight" {
		t.Errorf("the job counts as %s", s.Stage())
	}
	items := s.Items()
	if len(items) != 1 || !items[0].Derived || items[0].Where != "A" || items[0].Blocks != events.BlocksNight ||
		!strings.Contains(items[0].What, "claimed weather-tight") || !strings.Contains(items[0].What, "job was closed") {
		t.Errorf("raised %+v", items)
	}
	for _, c := range s.Checks() {
		if c.Done != (c.Where != "A") {
			t.Errorf("check %s: done %v, %s", c.ID, c.Done, c.Verdict)
		}
	}
	if r := events.RefusalIn(tell(s, 2002, 31*time.Hour, "lead", events.JobClosed{})); r == nil || r.Code != "not-ready-to-close" {
		t.Errorf("closed with A bare: %+v", r)
	}
	// Done again it is closed again; a panel set again counts.
	at := 40 * time.Hour
	for n, body := range build(s, 1) {
		where := events.Place("B")
		switch b := body.(type) {
		case events.LayerLaid:
			where = b.Where
		case events.PanelCut:
			where = events.Place(b.Piece[:1])
		case events.PanelSet:
			where = events.Place(b.Piece[:1])
		}
		if where == "A" {
			must(t, tell(s, 3000+n, at+time.Duration(n)*time.Minute, "lead", body))
		}
	}
	if got := stateOf(t, s, "A"); got != "weather-tight" || s.PercentClosed() != 100 {
		t.Errorf("done again A is %s", got)
	}
	must(t, tell(s, 4000, 50*time.Hour, "lead", events.ReportWithdrawn{Report: id(2001), Reason: "another roof"}))
	if s.Closed().IsZero() || len(s.Items()) != 0 {
		t.Error("withdrawn, the opening still counts")
	}
}

// Of a part that was opened nobody says which panels came off: as many as its share count as off, and any set again counts.
func TestPanelsOfAPartOpenedAgain(t *testing.T) {
	t.Parallel()
	s := finished(t)
	must(t, tell(s, 2001, 30*time.Hour, "lead", events.DeckOpened{Where: "A", Amount: half(t, s, "A")}))
	var of, left int64
	for _, step := range placeOf(t, s, "A").Steps {
		if step.ID == "panels" {
			of, left = step.Of.Thousandths(), step.Done.Thousandths()
		}
	}
	if left%1000 != 0 || left > of/2 || left < of/2-1000 {
		t.Fatalf("%d thousandths of %d panels still count", left, of)
	}
	for i, step := range []events.StepID{"deck-check", "felt", "slip-sheet"} {
		must(t, tell(s, 2100+i, 31*time.Hour, "lead", events.LayerLaid{Where: "A", Step: step}))
	}
	told := len(s.Oddities())
	for i, panel := range s.Estimate().Planes[0].Panels {
		if int64(i) < (of-left)/1000 {
			must(t, tell(s, 2200+2*i, 32*time.Hour, "lead", events.PanelCut{Piece: panel.Mark, Length: panel.Length, From: events.CutFrom{Coil: "C-1"}}))
			must(t, tell(s, 2201+2*i, 33*time.Hour, "lead", events.PanelSet{Piece: panel.Mark}))
		}
	}
	if got := stateOf(t, s, "A"); got != "weather-tight" || len(s.Oddities()) != told {
		t.Errorf("set again A is %s; told %+v", got, s.Oddities()[told:])
	}
}
