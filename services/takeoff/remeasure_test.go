package takeoff_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roof"
	"bydark/services/takeoff"

	"pgregory.net/rapid"
)

const gable = `{"name":"gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"9/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","15'"],["40'","15'"],["40'","30'"],["0'","30'"]],"pitch":"9/12","falls_deg":0}],
 "edges":[{"between":["A"],"from":["0'","0'"],"to":["0'","15'"],"kind":"wall"}]}`

func taken(where events.Place, of string, values ...events.Reading) events.MeasureTaken {
	return events.MeasureTaken{Where: where, Of: of, Values: values}
}

func remeasured(t testing.TB, r *roof.Roof, measures ...events.MeasureTaken) *takeoff.Remeasured {
	t.Helper()
	m, err := takeoff.Remeasure(r, measures)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func edgeLength(t testing.TB, r *roof.Roof, mark roof.EdgeMark) quantity.Length {
	t.Helper()
	e, ok := r.Edge(mark)
	if !ok {
		t.Fatalf("no edge %s", mark)
	}
	return e.Length
}

func TestALongerEaveMakesALongerRoof(t *testing.T) {
	t.Parallel()
	r := read(t, gable)
	m := remeasured(t, r, taken("eave-1", events.OfLength, `40'-4"`), taken("ridge-1", events.OfLength, `40'-4 1/8"`), taken("A", events.OfMoisture, "12"))
	if len(m.Contradictions) != 0 || len(m.Moved) != 1 || m.Moved[0].Drawn != 40*quantity.Foot {
		t.Fatalf("%+v", m)
	}
	for _, mark := range []roof.EdgeMark{"eave-1", "eave-2", "ridge-1"} {
		if got := edgeLength(t, m.Roof, mark); got != 484*quantity.Inch {
			t.Errorf("%s is %v", mark, got)
		}
	}
	// The drawing's word on an edge goes with it.
	if e, ok := m.Roof.Edge("wall-1"); !ok || e.Length != 225*quantity.Inch {
		t.Errorf("the wall became %+v", e)
	}
	a := shipped(t, "flat-clip")
	diffs := takeoff.Compare(laid(t, r, a), laid(t, m.Roof, a))
	found := false
	for _, d := range diffs {
		if d.Material == "cap" {
			found = d.First == quantity.OfLength(40*quantity.Foot) && d.Now == quantity.OfLength(484*quantity.Inch) && d.FirstPacks == 5 && d.NowPacks == 5
			if want := `ridge-1 40'-4", was 40' (it measures 40'-4", was 40')`; d.Why != want {
				t.Errorf("why is %q, want %q", d.Why, want)
			}
		}
	}
	if !found {
		t.Errorf("%+v", diffs)
	}
	if same := takeoff.Compare(laid(t, r, a), laid(t, r, a)); len(same) != 0 {
		t.Errorf("one estimate differs from itself: %+v", same)
	}
}

func TestMeasuresThatContradictEachOther(t *testing.T) {
	t.Parallel()
	m := remeasured(t, read(t, gable), taken("eave-1", events.OfLength, `40'-2"`), taken("eave-2", events.OfLength, `41'`))
	if len(m.Contradictions) != 1 {
		t.Fatalf("%+v", m)
	}
	c := m.Contradictions[0]
	if c.Place != "eave-2" || c.Off != 10*quantity.Inch || c.Implied != 482*quantity.Inch || fmt.Sprint(c.With) != "[eave-1]" || !strings.Contains(c.Words, `10"`) {
		t.Errorf("%+v", c)
	}
	if got := edgeLength(t, m.Roof, "eave-2"); got != 482*quantity.Inch {
		t.Errorf("eave-2 is %v", got)
	}
	// The later of two measures of one thing counts.
	m = remeasured(t, read(t, gable), taken("eave-1", events.OfLength, `41'`), taken("eave-1", events.OfLength, `40'-2"`))
	if len(m.Contradictions) != 0 || edgeLength(t, m.Roof, "eave-1") != 482*quantity.Inch {
		t.Errorf("%+v", m)
	}
}

// The ridge lies over the middle, since both eaves keep their height: what one slope is
// longer, the other is too.
func TestALongerSlopeRaisesTheRidge(t *testing.T) {
	t.Parallel()
	m := remeasured(t, read(t, gable), taken("A", events.OfSlopeLength, `19'-2"`), taken("rake-1", events.OfLength, `18'-9"`))
	if len(m.Contradictions) != 1 || m.Contradictions[0].Off != 5*quantity.Inch || fmt.Sprint(m.Contradictions[0].With) != "[A]" {
		t.Fatalf("%+v", m.Contradictions)
	}
	for i := range m.Roof.Planes {
		p := &m.Roof.Planes[i]
		want := quantity.Area(480*230) * quantity.SquareInch
		if d := p.Area - want; d < -1000 || d > 1000 {
			t.Errorf("%s covers %v, want %v", p.Mark, p.Area, want)
		}
	}
	if e, _ := m.Roof.Edge("ridge-1"); (e.FromHeight - (120+138)*quantity.Inch).Abs() > 10 {
		t.Errorf("the ridge stands at %v", e.FromHeight)
	}
}

func TestSlopes(t *testing.T) {
	t.Parallel()
	r := read(t, gable)
	m := remeasured(t, r, taken("A", events.OfSlope, "8/12"), taken("B", events.OfSlope, "8/12", "8.002/12", "7.998/12"))
	if len(m.Contradictions) != 0 || len(m.Moved) != 2 {
		t.Fatalf("%+v", m)
	}
	if a, _ := m.Roof.Plane("A"); a.Pitch.Slope() != 8.0/12 {
		t.Errorf("A is %v", a.Pitch)
	}
	m = remeasured(t, r, taken("A", events.OfSlope, "8/12"))
	if len(m.Contradictions) != 1 || m.Roof != r || !strings.Contains(m.Contradictions[0].Words, "drawn 9/12") {
		t.Errorf("%+v", m)
	}
}

func TestMeasuresThatCannotBeRead(t *testing.T) {
	t.Parallel()
	for _, m := range []events.MeasureTaken{
		taken("eave-9", events.OfLength, "40'"), taken("A", events.OfLength, "40'"), taken("eave-1", events.OfSlopeLength, "40'"), taken("Z", events.OfSlope, "6/12"),
		taken("eave-1", events.OfLength, "forty"), taken("eave-1", events.OfLength, "-1'"), taken("eave-1", events.OfLength), taken("A", events.OfSlope), taken("A", events.OfSlope, "0/12"),
	} {
		if _, err := takeoff.Remeasure(read(t, gable), []events.MeasureTaken{m}); events.RefusalIn(err) == nil {
			t.Errorf("%+v gave %v", m, err)
		}
	}
}

// On the worked L-shaped roof: what is measured of free edges is what the re-solved roof
// has, its corners keep their angles, and what was not measured of its own moves least.
func TestTheRoofTakesWhatWasMeasured(t *testing.T) {
	t.Parallel()
	doc, err := os.ReadFile("../../testdata/takeoff/l-hip.json")
	if err != nil {
		t.Fatal(err)
	}
	r := read(t, string(doc))
	rapid.Check(t, func(rt *rapid.T) {
		var measures []events.MeasureTaken
		said := map[roof.EdgeMark]quantity.Length{}
		for _, mark := range rapid.SliceOfNDistinct(rapid.SampledFrom([]roof.EdgeMark{"eave-1", "eave-2", "eave-3", "eave-4", "eave-5", "eave-6", "ridge-1", "hip-2"}), 1, 4, rapid.ID[roof.EdgeMark]).Draw(rt, "edges") {
			l := edgeLength(t, r, mark) + quantity.Length(rapid.Int64Range(-6, 6).Draw(rt, "inches"))*quantity.Inch
			said[mark] = l
			measures = append(measures, taken(events.Place(mark), events.OfLength, events.Reading(l.String())))
		}
		m := remeasured(t, r, measures...)
		for _, move := range m.Moved {
			mark := roof.EdgeMark(move.Place)
			if d := edgeLength(t, m.Roof, mark) - said[mark]; d.Abs() > 100*quantity.Nanometre {
				rt.Fatalf("%s is %v, measured %v", mark, edgeLength(t, m.Roof, mark), said[mark])
			}
		}
		if len(m.Moved)+len(m.Contradictions) > len(measures) {
			rt.Fatalf("%+v", m)
		}
		for _, c := range m.Contradictions {
			if c.Off <= takeoff.Agree && c.Off != 0 || c.Words == "" {
				rt.Fatalf("%+v", c)
			}
		}
		if len(m.Roof.Edges) != len(r.Edges) {
			rt.Fatalf("%d edges became %d", len(r.Edges), len(m.Roof.Edges))
		}
	})
}

// Squareness against the published cases: 3-4-5, and a 12-16-20 that is an inch and a half
// off; the formula is the law of cosines (see package squareness).
func TestSquare(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	p := &of(t, rectangle("40'", "12'", "9/12", ""), "flat-clip").Planes[0] // 40 ft by 15 ft
	for _, c := range []struct {
		m      events.MeasureTaken
		run    quantity.Length
		within bool
	}{
		{taken("A", events.OfThreeFourFive, "9'", "12'", "15'"), 0, true},
		// cos = (81 + 144 - 15.0833²) / 216: 90.668 degrees; 180 in x tan 0.668 = 2.1 in.
		{taken("A", events.OfThreeFourFive, "9'", "12'", `15'-1"`), 2*quantity.Inch + 3*quantity.Inch/32, false},
		// d1² - d2² = 513.26² - 512² = 1291 sq in = 4 x 480 x 180 x sin: 180 x tan = 0.67 in.
		{taken("A", events.OfDiagonals, `42'-9 1/4"`, `42'-8"`), 43 * quantity.Inch / 64, true},
		{taken("A", events.OfDiagonals, `42'-8 5/8"`, `42'-8 5/8"`), 0, true},
	} {
		s, err := p.Square(a, c.m)
		if err != nil {
			t.Errorf("%+v: %v", c.m, err)
			continue
		}
		if (s.Run-c.run).Abs() > quantity.Inch/32 || s.Within != c.within || s.Verdict == "" || s.Within == strings.Contains(s.Verdict, "Stop") {
			t.Errorf("%+v: %+v", c.m, s)
		}
	}
	for _, m := range []events.MeasureTaken{
		taken("A", events.OfDiagonals, "5'", "5'"), taken("A", events.OfDiagonals, "5'"), taken("A", events.OfThreeFourFive, "3'", "4'", "9'"), taken("A", events.OfLength, "3'"),
		taken("A", events.OfThreeFourFive, "3'", "four", "5'"),
	} {
		if s, err := p.Square(a, m); events.RefusalIn(err) == nil {
			t.Errorf("%+v gave %+v, %v", m, s, err)
		}
	}
}

// What goes through a plane stays what it is and goes with the corner nearest to it.
func TestOpeningsAndPipesGoWithTheRoof(t *testing.T) {
	t.Parallel()
	r := read(t, rectangle("40'", "15'", "9/12", `,"openings":[[["30'","5'"],["33'","5'"],["33'","8'"],["30'","8'"]]],"opening_kinds":["chimney"],"pipes":[{"at":["38'","5'"],"diameter":"3 in"}]`))
	m := remeasured(t, r, taken("eave-1", events.OfLength, `40'-6"`))
	p := m.Roof.Planes[0]
	if p.Openings[0].Kind != roof.Chimney || len(p.Pipes) != 1 || p.Pipes[0].Diameter != 3*quantity.Inch {
		t.Fatalf("%+v %+v", p.Openings, p.Pipes)
	}
	now := laid(t, m.Roof, shipped(t, "flat-clip"))
	if o := now.Openings[0]; o.Width != 3*quantity.Foot || len(now.Openings) != 2 {
		t.Errorf("the chimney became %+v", o)
	}
}
