package roofjob_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roofjob"

	"pgregory.net/rapid"
)

func measured(where events.Place, of string, values ...events.Reading) events.MeasureTaken {
	return events.MeasureTaken{Where: where, Of: of, Values: values}
}

func netOf(s *roofjob.State, id events.MaterialID) quantity.Amount {
	for _, l := range s.Estimate().Lines {
		if l.Material == id {
			return l.Net
		}
	}
	return quantity.Amount{}
}

// The gable is 16' long. A measured eave moves eave, ridge and planes of both sides, and
// nothing that was done before it is undone by it.
func TestAMeasureMovesTheEstimate(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Minute, "lead", events.DeckOpened{Where: "A"}))
	must(t, tell(s, 2, 2*time.Minute, "lead", events.LayerLaid{Where: "eave-1", Step: "ice-barrier"}))
	must(t, tell(s, 3, 3*time.Minute, "hand", measured("eave-1", events.OfLength, `16'-6"`)))
	if got := netOf(s, "eave-trim"); got != quantity.OfLength(33*quantity.Foot) {
		t.Errorf("eave trim is now %v", got)
	}
	if e, _ := s.Roof().Edge("ridge-1"); e.Length != 198*quantity.Inch {
		t.Errorf("the ridge is %v", e.Length)
	}
	for _, place := range []events.Place{"A", "eave-1"} {
		p, _ := s.Place(place)
		if place == "A" && p.Opened != p.Extent || place == "eave-1" && p.State != "dried-in" {
			t.Errorf("%s is no longer what it was: %+v", place, p)
		}
	}
	m := s.Measured()
	if m == nil || len(m.Moved) != 1 || len(m.Contradictions) != 0 || len(s.Items()) != 0 {
		t.Fatalf("%+v, items %+v", m, s.Items())
	}
	var why string
	for _, c := range s.Changes() {
		if c.Material == "cap" {
			why = c.Why
		}
	}
	if want := `ridge-1 16'-6", was 16' (it measures 16'-6", was 16')`; why != want {
		t.Errorf("why is %q, want %q", why, want)
	}
	// Withdrawn, it never was.
	must(t, tell(s, 4, 4*time.Minute, "lead", events.ReportWithdrawn{Report: id(3), Reason: "other house"}))
	if got := netOf(s, "eave-trim"); got != quantity.OfLength(32*quantity.Foot) || s.Measured() != nil || len(s.Changes()) != 0 {
		t.Errorf("withdrawn, eave trim is %v and %v changed", got, s.Changes())
	}
}

func TestMeasuresThatContradictAreAPunchItemUntilTheyAgree(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Minute, "hand", measured("eave-1", events.OfLength, `16'-2"`)))
	must(t, tell(s, 2, 2*time.Minute, "hand", measured("eave-2", events.OfLength, `15'-9"`)))
	items := s.Items()
	if len(items) != 1 || items[0].Where != "eave-2" || items[0].Blocks != events.BlocksCloseout ||
		!strings.Contains(items[0].What, `eave-2 measured 15'-9"; by eave-1 as measured it is 16'-2": 5" apart`) {
		t.Fatalf("%+v", items)
	}
	if e, _ := s.Roof().Edge("eave-2"); e.Length != 194*quantity.Inch {
		t.Errorf("the estimate goes by %v", e.Length)
	}
	// It was the first that was wrong.
	must(t, tell(s, 3, 3*time.Minute, "hand", measured("eave-1", events.OfLength, `15'-9 1/8"`)))
	items = s.Items()
	if len(items) != 1 || items[0].State != roofjob.ItemFixed || !strings.Contains(items[0].Reason, "contradicts nothing since the length of eave-1") {
		t.Fatalf("%+v", items)
	}
	if e, _ := s.Roof().Edge("eave-1"); (e.Length - 189*quantity.Inch).Abs() > quantity.Inch/4 {
		t.Errorf("the estimate goes by %v", e.Length)
	}
}

// A slip of the tongue moves nothing; said twice, it is the roof.
func TestAnUnlikelyMeasureMovesNothingUntilItIsBorneOut(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Minute, "hand", measured("eave-1", events.OfLength, `1'-6"`)))
	if e, _ := s.Roof().Edge("eave-1"); e.Length != 16*quantity.Foot || s.Measured() != nil && len(s.Measured().Moved) > 0 {
		t.Errorf("the roof is %v long", e.Length)
	}
	if items := s.Items(); len(items) != 1 || !strings.Contains(items[0].What, "more than a tenth apart") {
		t.Fatalf("%+v", items)
	}
	must(t, tell(s, 2, 2*time.Minute, "hand", measured("eave-1", events.OfLength, `18'`)))
	must(t, tell(s, 3, 3*time.Minute, "hand", measured("eave-1", events.OfLength, `18'-1/8"`)))
	if e, _ := s.Roof().Edge("eave-1"); e.Length != 18*quantity.Foot+quantity.Inch/8 {
		t.Errorf("measured twice, the roof is %v long", e.Length)
	}
	for _, i := range s.Items() {
		if i.State == roofjob.ItemOpen {
			t.Errorf("still open: %+v", i)
		}
	}
}

// A slope too flat for the assembly, and a measure of no edge, leave the estimate alone.
func TestMeasuresThatTheEstimateCannotFollow(t *testing.T) {
	t.Parallel()
	s := opened(t)
	for n, m := range []events.MeasureTaken{
		measured("A", events.OfSlope, "1/12"), measured("B", events.OfSlope, "1/12"),
		measured("A", events.OfLength, "9'"), measured("roof", events.OfLength, "9'"), measured("eave-1", events.OfSlopeLength, "9'"),
	} {
		must(t, tell(s, n+1, time.Duration(n+1)*time.Minute, "hand", m))
	}
	if got := netOf(s, "eave-trim"); got != quantity.OfLength(32*quantity.Foot) || s.Roof().Planes[0].Pitch != quantity.PitchOf(6, 12) {
		t.Errorf("eave trim is %v, A falls %v", got, s.Roof().Planes[0].Pitch)
	}
	if items := s.Items(); len(items) == 0 {
		t.Error("nobody is told")
	}
	// And what comes after is still followed.
	must(t, tell(s, 50, time.Hour, "hand", measured("eave-1", events.OfLength, `16'-1"`)))
	if got := netOf(s, "eave-trim"); got != quantity.OfLength(32*quantity.Foot+2*quantity.Inch) {
		t.Errorf("eave trim is %v", got)
	}
}

// A roof drawn anew has what was measured before; another assembly on the same roof does
// not forget it.
func TestWhatBecomesOfMeasuresWhenTheDrawingChanges(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Minute, "hand", measured("eave-1", events.OfLength, `16'-6"`)))
	must(t, tell(s, 2, 2*time.Minute, "boss", events.AssemblyChosen{Assembly: assemblyDoc(t, "raised-clip-vented"), Reason: "vented"}))
	if got := netOf(s, "eave-trim"); got != quantity.OfLength(33*quantity.Foot) {
		t.Errorf("with another assembly eave trim is %v", got)
	}
	must(t, tell(s, 3, 3*time.Minute, "boss", events.RoofDrawn{Roof: []byte(strings.ReplaceAll(gable, "16'", "20'")), Reason: "surveyed"}))
	if got := netOf(s, "eave-trim"); got != quantity.OfLength(40*quantity.Foot) || s.Measured() != nil {
		t.Errorf("drawn anew eave trim is %v", got)
	}
}

// By hand: A is 16' wide and 12' at 6/12, 13'-5" up the slope. The diagonals
// of a square plane are 250.6 in; 251 1/8 and 250 1/8 in differ by 501.25 in their squares,
// over 4 x 192 x 161 that is 0.00405, 0.23 degrees: 0.65 in over 161, 0.78 in over 192.
func TestSquarenessGoesByThePlanesOwnSides(t *testing.T) {
	t.Parallel()
	s := opened(t)
	verdict := func() string {
		for _, c := range s.Checks() {
			if c.ID == "A/panels/square" {
				return fmt.Sprintf("%v %s", c.Done, c.Verdict)
			}
		}
		return "no such check"
	}
	for n, c := range []struct {
		m    events.MeasureTaken
		want []string
	}{
		{measured("A", events.OfDiagonals, `20'-11 1/8"`, `20'-10 1/8"`), []string{"true", `5/8" over the 13'-5" slope`, `3/4" across the eave`, "Go on"}},
		{measured("A", events.OfDiagonals, `21'-1 5/8"`, `20'-7 5/8"`), []string{"false", `allowed 1 1/2"`, "Stop: correct the eave line"}},
		{measured("A", events.OfThreeFourFive, "6'", "8'", "10'"), []string{"true", "0.00 degrees", "Go on"}},
		{measured("A", events.OfDiagonals, "5'", `5'-1"`), []string{"false", "cannot be told", "the diagonals of the whole plane"}},
	} {
		must(t, tell(s, n+1, time.Duration(n+1)*time.Minute, "hand", c.m))
		for _, want := range c.want {
			if got := verdict(); !strings.Contains(got, want) {
				t.Errorf("%v: %q does not say %q", c.m.Values, got, want)
			}
		}
	}
	blocks := map[string]int{}
	for _, i := range s.Items() {
		blocks[i.Blocks]++
	}
	if blocks[events.BlocksCloseout] != 1 || blocks[events.BlocksNothing] != 1 {
		t.Errorf("%v", s.Items())
	}
}

// Measures of any sort in any order of arrival give one estimate, one set of items.
func TestMeasuresInAnyOrder(t *testing.T) {
	t.Parallel()
	var told []events.Event
	for n, body := range []events.Body{
		measured("eave-1", events.OfLength, `16'-6"`), events.DeckOpened{Where: "A"}, measured("eave-2", events.OfLength, `15'-2"`),
		events.LayerLaid{Where: "A", Step: "deck-check"}, measured("A", events.OfSlopeLength, `13'-6"`), measured("rake-1", events.OfLength, `13'`),
		events.LayerLaid{Where: "eave-1", Step: "ice-barrier"}, measured("eave-2", events.OfLength, `16'-6"`), measured("ridge-1", events.OfLength, `30'`),
		measured("ridge-1", events.OfLength, `30'`), measured("A", events.OfSlope, "7/12"), events.ReportWithdrawn{Report: id(1), Reason: "x"},
	} {
		told = append(told, events.Event{ID: id(n + 1), At: morning.Add(time.Duration(n) * time.Minute), By: "lead", Body: body})
	}
	fold := func(t testing.TB, order []events.Event) string {
		s := opened(t)
		for i, e := range order {
			e.Sequence = uint64(i + 2)
			must(t, s.Add(e))
		}
		return fmt.Sprint(seen(s), s.Changes(), s.Estimate().Lines)
	}
	want := fold(t, told)
	rapid.Check(t, func(r *rapid.T) {
		if got := fold(t, rapid.Permutation(told).Draw(r, "order")); got != want {
			r.Fatalf("another order gives\n%s\nnot\n%s", got, want)
		}
	})
}
