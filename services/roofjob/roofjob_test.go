package roofjob_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roofjob"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
	"pgregory.net/rapid"
)

const gable = `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","12'"],["16'","12'"],["16'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`

var morning = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

func id(n int) events.ReportID {
	return events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%d", n)).String())
}

func opened(t testing.TB) *roofjob.State {
	t.Helper()
	return drawn(t, gable)
}

// tell decides a report and folds what it became.
func tell(s *roofjob.State, n int, after time.Duration, by events.PersonID, body events.Body) error {
	e, err := roofjob.Decide(s, events.Report{ID: id(n), At: morning.Add(after), Body: body}, roofjob.Actor{Person: by, OthersReports: by != "hand"}, morning.Add(1000*time.Hour))
	if err != nil {
		return err
	}
	e.Sequence = s.Last() + 1
	return s.Add(e)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func amount(t testing.TB, s string) *quantity.Amount {
	t.Helper()
	a, err := quantity.ParseAmount(s)
	if err != nil {
		t.Fatal(err)
	}
	return &a
}

func stateOf(t testing.TB, s *roofjob.State, mark events.Place) string {
	t.Helper()
	p, ok := s.Place(mark)
	if !ok {
		t.Fatalf("no place %s", mark)
	}
	return p.State
}

// build does all the work of a roof in its turn.
func build(s *roofjob.State, from int) (reports []events.Body) {
	for _, p := range []events.Place{"A", "B"} {
		reports = append(reports, events.DeckOpened{Where: p})
	}
	for _, p := range s.Places() {
		for _, step := range p.Steps {
			if step.Kind == assembly.Layer && p.Kind != assembly.PlaneKind || step.ID == "eave-trim" || step.ID == "starter-cleat" {
				if step.Kind == assembly.Layer {
					reports = append(reports, events.LayerLaid{Where: p.Mark, Step: step.ID})
				} else {
					reports = append(reports, events.TrimInstalled{Where: p.Mark, Step: step.ID})
				}
			}
		}
	}
	for _, p := range []events.Place{"A", "B"} {
		for _, step := range []events.StepID{"deck-check", "felt", "slip-sheet"} {
			reports = append(reports, events.LayerLaid{Where: p, Step: step})
		}
	}
	for _, plane := range s.Estimate().Planes {
		for _, panel := range plane.Panels {
			reports = append(reports,
				events.PanelCut{Piece: panel.Mark, Length: panel.Length, From: events.CutFrom{Coil: "C-1"}},
				events.PanelSet{Piece: panel.Mark})
		}
	}
	for _, p := range s.Places() {
		if p.Kind == assembly.PlaneKind {
			continue
		}
		for _, step := range p.Steps {
			switch {
			case step.Kind == assembly.Layer || step.ID == "eave-trim" || step.ID == "starter-cleat":
			case step.Kind == assembly.Seal:
				reports = append(reports, events.SealMade{Where: p.Mark, Step: step.ID})
			default:
				reports = append(reports, events.TrimInstalled{Where: p.Mark, Step: step.ID})
			}
		}
	}
	return reports
}

func TestARoofBuiltInItsTurnIsClosed(t *testing.T) {
	t.Parallel()
	s := opened(t)
	if got := stateOf(t, s, "ridge-1"); got != roofjob.Untouched || s.Stage() != "not started" {
		t.Errorf("before work the ridge is %s, the job %s", got, s.Stage())
	}
	for n, body := range build(s, 1) {
		must(t, tell(s, n+1, time.Duration(n)*time.Minute, "lead", body))
	}
	if items := s.Items(); len(items) != 0 {
		t.Errorf("work in its turn raised %+v", items)
	}
	if s.PercentClosed() != 100 || s.Stage() != "weather-tight" {
		t.Errorf("%d %% closed, %s; missing %q", s.PercentClosed(), s.Stage(), s.MissingTight(events.WholeRoof))
	}
	must(t, tell(s, 900, 900*time.Minute, "lead", events.WeatherTightReached{Where: events.WholeRoof}))
	r := events.RefusalIn(tell(s, 901, 901*time.Minute, "lead", events.JobClosed{}))
	if r == nil || r.Code != "not-ready-to-close" || len(r.Missing) != len(s.Checks()) {
		t.Fatalf("closing with checks unsigned gave %+v", r)
	}
	for i, c := range s.Checks() {
		must(t, tell(s, 1000+i, 910*time.Minute, "inspector", events.CheckSigned{Check: c.ID}))
	}
	must(t, tell(s, 2000, 920*time.Minute, "lead", events.JobClosed{}))
	if s.Closed().IsZero() || s.Stage() != "closed" {
		t.Error("the job is not closed")
	}
}

func TestStatesOfPlaces(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Minute, "hand", events.DeckOpened{Where: "A", Amount: amount(t, "50 sqft")}))
	for mark, want := range map[events.Place]string{"A": "open", "B": "untouched", "ridge-1": "open", "eave-1": "open", "eave-2": "untouched"} {
		if got := stateOf(t, s, mark); got != want {
			t.Errorf("%s is %s, want %s", mark, got, want)
		}
	}
	must(t, tell(s, 2, 2*time.Minute, "hand", events.CoverPlaced{Where: "A"}))
	if got := stateOf(t, s, "A"); got != roofjob.Covered {
		t.Errorf("under a tarp A is %s", got)
	}
	// The edges whose only bare side is A lie under its tarp; it keeps its own word with B.
	for mark, want := range map[events.Place]string{"B": "untouched", "ridge-1": "covered", "eave-1": "covered", "eave-2": "untouched"} {
		if p, _ := s.Place(mark); p.State != want || (want == "covered") != (p.CoverOf == "A" && !p.Covered.IsZero()) {
			t.Errorf("with A under a tarp %s is %+v, want %s", mark, p, want)
		}
	}
	must(t, tell(s, 9, 2*time.Minute+time.Second, "hand", events.DeckOpened{Where: "B"}))
	if got := stateOf(t, s, "ridge-1"); got != "open" {
		t.Errorf("with B bare beside it the ridge is %s", got)
	}
	must(t, tell(s, 10, 2*time.Minute+2*time.Second, "lead", events.ReportWithdrawn{Report: id(9), Reason: "not this plane"}))
	must(t, tell(s, 3, 3*time.Minute, "hand", events.CoverRemoved{Where: "A"}))
	if got := stateOf(t, s, "ridge-1"); got != "open" {
		t.Errorf("with the tarp taken off the ridge is %s", got)
	}
	must(t, tell(s, 4, 4*time.Minute, "hand", events.LayerLaid{Where: "A", Step: "deck-check"}))
	must(t, tell(s, 5, 5*time.Minute, "hand", events.LayerLaid{Where: "A", Step: "ice-barrier"})) // by the plane
	if got := stateOf(t, s, "eave-1"); got != "dried-in" {
		t.Errorf("under its barrier the eave is %s", got)
	}
	must(t, tell(s, 6, 6*time.Minute, "hand", events.LayerLaid{Where: "A", Step: "felt"}))
	if got := stateOf(t, s, "A"); got != "dried-in" {
		t.Errorf("under felt A is %s", got)
	}
	items := s.Items()
	if len(items) != 1 || !items[0].Derived || items[0].ID != id(6) {
		t.Errorf("felt before the eave trim raised %+v", items)
	}
	must(t, tell(s, 7, 7*time.Minute, "lead", events.ReportWithdrawn{Report: id(6), Reason: "other roof"}))
	if got := stateOf(t, s, "A"); got != "open" || len(s.Items()) != 0 {
		t.Errorf("after the withdrawal A is %s with %d items", got, len(s.Items()))
	}
	must(t, tell(s, 8, 8*time.Minute, "lead", events.ReportWithdrawn{Report: id(7), Reason: "it was this roof"}))
	if got := stateOf(t, s, "A"); got != "dried-in" || len(s.Items()) != 1 {
		t.Errorf("after the withdrawal of the withdrawal A is %s with %d items", got, len(s.Items()))
	}
}

// How far apart clips stand in the field says nothing of where the lowest stands: that is measured at the eave and signed.
func TestASpacingProvesNoFirstClip(t *testing.T) {
	t.Parallel()
	for _, name := range assembly.Shipped() {
		s := drawnBy(t, gable, name)
		for i, values := range [][]events.Reading{{`16"`}, {`5"`}, {`30"`}} {
			must(t, tell(s, 1+i, time.Duration(1+i)*time.Minute, "hand", events.MeasureTaken{Where: "A", Of: events.OfSpacing, Values: values}))
		}
		found := 0
		for _, c := range s.Checks() {
			if strings.HasSuffix(c.ID, "/first-clip") {
				found++
				if c.Done || c.Of != "" {
					t.Errorf("%s: %s is %+v", name, c.ID, c)
				}
			}
		}
		if found == 0 || len(s.Items()) != 0 {
			t.Errorf("%s: %d first clips, items %+v", name, found, s.Items())
		}
	}
}

// A day said anew without a time to leave keeps the lead's; a new day does not.
func TestADaySaidAnewKeepsLeaveBy(t *testing.T) {
	t.Parallel()
	s := opened(t)
	set := morning.Add(6 * time.Hour)
	for i, c := range []struct {
		at         time.Duration
		said, want time.Time
	}{
		{time.Hour, set, set}, {2 * time.Hour, time.Time{}, set}, {3 * time.Hour, set.Add(time.Hour), set.Add(time.Hour)},
		{4 * time.Hour, time.Time{}, set.Add(time.Hour)}, {30 * time.Hour, time.Time{}, time.Time{}},
	} {
		must(t, tell(s, 1+i, c.at, "lead", events.DayStarted{Heads: 3, ShiftEnd: morning.Add(c.at + 8*time.Hour), LeaveBy: c.said}))
		if day, _ := s.Day(); day == nil || !day.LeaveBy.Equal(c.want) {
			t.Errorf("said %v after %v, the day is %+v", c.said, c.at, day)
		}
	}
}

// S08: who has mended something does not verify it.
func TestOutOfToleranceRaisesAnItem(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Minute, "hand", events.MeasureTaken{Where: "eave-1", Of: events.OfSpacing, Values: []events.Reading{`22"`, `26"`}}))
	items := s.Items()
	if len(items) != 1 || items[0].Blocks != events.BlocksCloseout || items[0].State != roofjob.ItemOpen {
		t.Fatalf("26 in between screws raised %+v", items)
	}
	must(t, tell(s, 2, 2*time.Minute, "hand", events.MeasureTaken{Where: "eave-1", Of: events.OfSpacing, Values: []events.Reading{`22"`, `23 1/2"`}}))
	if items = s.Items(); len(items) != 1 || items[0].State != roofjob.ItemFixed {
		t.Fatalf("measured again: %+v", items)
	}
	if r := events.RefusalIn(tell(s, 3, 3*time.Minute, "hand", events.PunchVerified{Item: id(1)})); r == nil || r.Code != "four-eyes" {
		t.Errorf("verifying one's own fix gave %+v", r)
	}
	must(t, tell(s, 4, 4*time.Minute, "lead", events.PunchVerified{Item: id(1)}))
	must(t, tell(s, 5, 5*time.Minute, "hand", events.MeasureTaken{Where: "A", Of: events.OfThreeFourFive, Values: []events.Reading{"3'", "4'", `5'-1/8"`}}))
	must(t, tell(s, 6, 6*time.Minute, "hand", events.MeasureTaken{Where: "B", Of: events.OfThreeFourFive, Values: []events.Reading{"12'", "16'", `20'-1 1/2"`}}))
	if items = s.Items(); len(items) != 2 || items[1].ID != id(6) {
		t.Errorf("squareness raised %+v", items)
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Minute, "lead", events.DeckOpened{Where: "A"}))
	for _, c := range []struct {
		code string
		body events.Body
	}{
		{"unknown-mark", events.DeckOpened{Where: "Z"}},
		{"not-a-plane", events.DeckOpened{Where: "ridge-1"}},
		{"wrong-unit", events.DeckOpened{Where: "A", Amount: amount(t, "40'")}},
		{"not-above-zero", events.DeckOpened{Where: "A", Amount: amount(t, "-1 sqft")}},
		{"unknown-step", events.LayerLaid{Where: "A", Step: "tiles"}},
		{"unknown-step", events.LayerLaid{Where: "A", Step: "panels"}},
		{"not-an-edge", events.TrimInstalled{Where: "A", Step: "cap"}},
		{"unknown-step", events.TrimInstalled{Where: "eave-1", Step: "cap"}},
		{"more-than-there-is", events.TrimInstalled{Where: "eave-1", Step: "eave-trim", Amount: amount(t, "41'")}},
		{"unknown-piece", events.PanelSet{Piece: "Z-01"}},
		{"cut-from-what", events.PanelCut{Piece: "A-01", Length: quantity.Foot}},
		{"more-than-there-is", events.PanelCut{Piece: "A-01", Length: 21 * quantity.Foot, From: events.CutFrom{Stock: "20'"}}},
		{"unknown-material", events.MaterialSpoiled{Material: "slate", Amount: *amount(t, "1 each"), Reason: "x"}},
		{"wrong-unit", events.MaterialSpoiled{Material: "clip", Amount: *amount(t, "1 ft"), Reason: "x"}},
		{"empty", events.MaterialSpoiled{Material: "clip", Amount: *amount(t, "1 each")}},
		{"moved-where", events.MaterialMoved{Material: "clip", Amount: *amount(t, "1 each"), To: "gable"}},
		{"how-many-lines", events.MaterialOrdered{Order: "1"}},
		{"unknown-word", events.PunchRaised{Where: "A", What: "dent", Blocks: "never"}},
		{"unreadable-digest", events.PunchRaised{Where: "A", What: "dent", Blocks: "night", Photos: []events.PhotoDigest{"../x"}}},
		{"unreadable-id", events.PunchFixed{Item: "7"}},
		{"unknown-item", events.PunchVerified{Item: id(77)}},
		{"unknown-check", events.CheckSigned{Check: "roof/beauty"}},
		{"not-weather-tight", events.WeatherTightReached{Where: "ridge-1"}},
		{"not-closed", events.JobReopened{Reason: "x"}},
		{"impossible", events.DayStarted{Heads: 0, ShiftEnd: morning}},
		{"empty", events.DayEnded{LeftOpen: []events.Place{"A"}}},
		{"how-many-values", events.MeasureTaken{Where: "A", Of: events.OfDiagonals, Values: []events.Reading{"3'"}}},
		{"unreadable-value", events.MeasureTaken{Where: "A", Of: events.OfGap, Values: []events.Reading{"3"}}},
		{"unreadable-value", events.MeasureTaken{Where: "A", Of: events.OfMoisture, Values: []events.Reading{"NaN"}}},
		{"not-withdrawable", events.ReportWithdrawn{Report: id(0), Reason: "x"}},
		{"unreadable-text", events.PunchRaised{Where: "A", What: "a\x00b", Blocks: "night"}},
	} {
		r := events.RefusalIn(tell(s, 50, time.Hour, "lead", c.body))
		if r == nil || r.Code != c.code || r.Want == "" {
			t.Errorf("%T %+v gave %+v; want %s", c.body, c.body, r, c.code)
		}
	}
	if r := events.RefusalIn(tell(s, 51, 2000*time.Hour, "lead", events.DeckOpened{Where: "A"})); r == nil || r.Code != "in-the-future" {
		t.Errorf("the future gave %+v", r)
	}
	if r := events.RefusalIn(tell(s, 52, time.Hour, "hand", events.ReportWithdrawn{Report: id(1), Reason: "x"})); r == nil || r.Code != "not-yours" {
		t.Errorf("a hand withdrawing the lead's report gave %+v", r)
	}
	must(t, tell(s, 53, time.Hour, "lead", events.TrimInstalled{Where: "eave-1", Step: "eave-trim", Amount: amount(t, "17'"), Reason: "lapped at the corner"}))
}

// seen is everything that views are made of, without where it stood in the log.
func seen(s *roofjob.State) any {
	return []any{s.Places(), s.Items(), s.Checks(), s.Oddities(), s.Cuts(), s.Movement("felt"), s.Gauges(), s.Stage()}
}

// F29: the same reports, in any order of arrival and with repeats, give the same views.
func TestOrderOfArrivalDoesNotMatter(t *testing.T) {
	t.Parallel()
	base := opened(t)
	var told []events.Event
	add := func(n int, body events.Body) {
		told = append(told, events.Event{ID: id(n), At: morning.Add(time.Duration(n) * time.Minute), By: "lead", Body: body})
	}
	for n, body := range build(base, 1) {
		add(n+1, body)
	}
	add(500, events.MaterialReceived{Lines: []events.ReceivedLine{{Material: "felt", Amount: *amount(t, "3 rolls"), Short: amount(t, "1 rolls")}}})
	add(501, events.MaterialCounted{Material: "felt", Amount: *amount(t, "2 rolls")})
	add(502, events.PunchRaised{Where: "A", What: "dent", Blocks: events.BlocksCloseout})
	add(503, events.PunchFixed{Item: id(502)})
	add(504, events.MeasureTaken{Where: "eave-1", Of: events.OfSpacing, Values: []events.Reading{`30"`}})
	add(505, events.MeasureTaken{Where: "eave-1", Of: events.OfSpacing, Values: []events.Reading{`20"`}})
	add(506, events.ReportWithdrawn{Report: id(30), Reason: "wrong"})
	add(507, events.ReportWithdrawn{Report: id(506), Reason: "right after all"})
	add(508, events.ReportWithdrawn{Report: id(20), Reason: "wrong"})
	add(509, events.TrimInstalled{Where: "eave-1", Step: "eave-trim", Amount: amount(t, "3'")})
	add(510, events.PhotoAttached{To: id(502), Photo: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"})
	add(511, events.WeatherTightReached{Where: events.WholeRoof})
	add(512, events.JobClosed{})
	add(513, events.DeckOpened{Where: "A", Amount: amount(t, "70 sqft")})
	add(514, events.LayerLaid{Where: "A", Step: "felt"})
	add(515, events.PanelSet{Piece: "A-01"})
	add(516, events.DeckOpened{Where: events.WholeRoof})
	add(517, events.LayerLaid{Where: "A", Step: "felt", Amount: amount(t, "30 sqft")})
	fold := func(t testing.TB, order []events.Event) any {
		s := opened(t)
		for i, e := range order {
			e.Sequence = uint64(i + 2)
			must(t, s.Add(e))
		}
		return seen(s)
	}
	want := fold(t, told)
	rapid.Check(t, func(r *rapid.T) {
		order := rapid.Permutation(append(told[:len(told):len(told)], told[:7]...)).Draw(r, "order")
		if diff := cmp.Diff(want, fold(t, order), cmpopts.EquateComparable(quantity.Amount{})); diff != "" {
			r.Fatalf("another order gives other views:\n%s", diff)
		}
		s := opened(t)
		for n := 0; len(order) > 0; order = order[n:] {
			n = rapid.IntRange(1, len(order)).Draw(r, "together")
			must(t, s.AddAll(order[:n]))
		}
		if diff := cmp.Diff(want, seen(s), cmpopts.EquateComparable(quantity.Amount{})); diff != "" {
			r.Fatalf("added together they give other views:\n%s", diff)
		}
	})
}

func BenchmarkAddToALongJob(b *testing.B) {
	s := opened(b)
	n := 0
	for b.Loop() {
		n++
		must(b, s.Add(events.Event{
			ID: id(n), At: morning.Add(time.Duration(n) * time.Second), By: "lead", Sequence: uint64(n + 1),
			Body: events.MeasureTaken{Where: "eave-1", Of: events.OfSpacing, Values: []events.Reading{`20"`}},
		}))
	}
}

// F29: a withdrawal may arrive before the report that it takes back; a hand's reaches only what the same hand reported.
func TestWithdrawnBeforeItCame(t *testing.T) {
	for by, want := range map[events.PersonID]events.ReportID{"hand": id(2), "lead": ""} {
		s := opened(t)
		must(t, tell(s, 2, time.Hour, "hand", events.ReportWithdrawn{Report: id(1), Reason: "wrong plane"}))
		must(t, tell(s, 1, 0, by, events.DeckOpened{Where: "A"}))
		if got := s.Withdrawn(id(1)); got != want {
			t.Errorf("reported by %s: withdrawn by %q, want %q", by, got, want)
		}
		if state := stateOf(t, s, "A"); (state == roofjob.Untouched) != (want != "") {
			t.Errorf("reported by %s: plane A is %s", by, state)
		}
	}
}
