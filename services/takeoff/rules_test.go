package takeoff_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

// rectangle is a single plane falling south, w by run in plan, both as written.
func rectangle(w, run, pitch, more string) string {
	return fmt.Sprintf(`{"name":"shed","planes":[{"mark":"A","outline":[["0'","0'"],[%q,"0'"],[%q,%q],["0'",%q]],"pitch":%q,"falls_deg":180%s}]}`, w, w, run, run, pitch, more)
}

// comb is a plane with teeth along its whole width, a kilometre.
func comb(t *testing.T, teeth int) *roof.Roof {
	var b strings.Builder
	b.WriteString(`{"name":"comb","planes":[{"mark":"A","pitch":"6/12","falls_deg":180,"outline":[["0 m","0 m"],["1000 m","0 m"]`)
	for i := range teeth {
		fmt.Fprintf(&b, `,["1000 m","%d m"],["1 m","%d m"],["1 m","%d m"]`, 4*i+1, 4*i+1, 4*i+3)
		if i+1 < teeth {
			fmt.Fprintf(&b, `,["1000 m","%d m"]`, 4*i+3)
		}
	}
	fmt.Fprintf(&b, `,["0 m","%d m"]]}]}`, 4*(teeth-1)+3)
	return read(t, b.String())
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	good := read(t, rectangle("20'", "10'", "6/12", ""))
	for _, c := range []struct {
		name  string
		roof  *roof.Roof
		plan  takeoff.Layout
		build func(*assembly.Assembly)
		code  string
		where string
	}{
		{name: "flatter than the assembly's least", roof: read(t, rectangle("20'", "10'", "2.9/12", "")), code: "too-flat", where: "plane A, point 1"},
		{name: "strips without a width", roof: good, build: func(a *assembly.Assembly) { a.Panel.Cover = 0 }, code: "zero-width-strips", where: "plane A, point 1"},
		{name: "more strips than a plane has", roof: read(t, rectangle("9000 m", "10'", "6/12", "")), build: func(a *assembly.Assembly) { a.Panel.Cover = 4 * quantity.Inch }, code: "too-many-panels", where: "plane A, point 1"},
		{name: "more cuts than a plane takes", roof: comb(t, 480), build: func(a *assembly.Assembly) { a.Panel.Cover = 4 * quantity.Inch }, code: "too-many-cuts", where: "plane A, point 1"},
		{name: "a panel longer than its coil", roof: read(t, rectangle("20'", "600'", "6/12", "")), code: "panel-too-long", where: "plane A, panel A-01 at"},
		{name: "a start at no edge", roof: good, plan: takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"A": {From: "hip-9"}}}, code: "unknown-start", where: "plane A"},
		{name: "a start of no plane", roof: good, plan: takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"Z": {}}}, code: "bad-layout", where: "starts"},
		{name: "seams of no neighbour", roof: good, plan: takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"A": {Match: "B"}}}, code: "no-seams-to-match", where: "plane A"},
		{name: "seams of itself", roof: good, plan: takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"A": {Match: "A"}}}, code: "no-seams-to-match", where: "plane A"},
		{name: "a zone without a spacing", roof: good, plan: takeoff.Layout{Zones: []takeoff.Zone{{Along: "eave", Depth: quantity.Foot}}}, code: "bad-layout", where: "zones"},
		{name: "a zone along nothing", roof: good, plan: takeoff.Layout{Zones: []takeoff.Zone{{Along: "moon", Depth: quantity.Foot, Spacing: quantity.Foot}}}, code: "bad-layout", where: "zones"},
		{name: "an overhang below zero", roof: good, plan: takeoff.Layout{Overhang: -1}, code: "bad-layout", where: "layout"},
	} {
		a := shipped(t, "flat-clip")
		if c.build != nil {
			c.build(a)
		}
		e, err := takeoff.Laid(c.roof, a, c.plan)
		r := events.RefusalIn(err)
		if e != nil || r == nil || r.Code != c.code || !strings.HasPrefix(r.Where, c.where) || r.Want == "" {
			t.Errorf("%s: got %v, want %s at %s", c.name, err, c.code, c.where)
		}
	}
}

// The published lengths of ice barrier up the slope, with their sources.
func TestIceBarrierReachesAsPublished(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../testdata/checks/published.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, row := range rows {
		if !strings.HasPrefix(row[1], "ice_len_") {
			continue
		}
		in := map[string]float64{}
		for pair := range strings.SplitSeq(row[2], ";") {
			name, value, _ := strings.Cut(pair, "=")
			if in[name], err = strconv.ParseFloat(value, 64); err != nil {
				t.Fatal(row, err)
			}
		}
		want, err1 := strconv.ParseFloat(row[3], 64)
		tolerance, err2 := strconv.ParseFloat(row[5], 64)
		if err1 != nil || err2 != nil || in["inside_in"] != 24 || row[6] == "" {
			t.Fatal(row)
		}
		got := takeoff.IceReach(math.Hypot(1, in["rise_in"]/12), quantity.Length(in["overhang_in"])*quantity.Inch, quantity.Length(in["wall_in"])*quantity.Inch).Inches()
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s: %.3f in, published %v in (%s)", row[1], got, want, row[6])
		}
		checked++
	}
	if checked != 3 {
		t.Errorf("%d rows checked", checked)
	}
	// IRC R905.1.2: from 8/12 on at least 36 in up the slope, whatever the overhang.
	if got := takeoff.IceReach(math.Hypot(1, 8.0/12), 0, 0); got != 36*quantity.Inch {
		t.Errorf("at 8/12 without overhang it reaches %v", got)
	}
}

func TestIceBarrierInCoursesByTheOverhang(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	for _, c := range []struct {
		overhang, wall quantity.Length
		strips         int64
	}{
		{0, 0, 2},                 // as the assembly says
		{6 * quantity.Inch, 0, 1}, // (6+24) x 1.118 = 33.5 in
		{12 * quantity.Inch, 6 * quantity.Inch, 2}, // 47 in
		{36 * quantity.Inch, 6 * quantity.Inch, 3}, // 73.8 in
	} {
		e, err := takeoff.Laid(read(t, rectangle("20'", "10'", "6/12", "")), a, takeoff.Layout{Overhang: c.overhang, Wall: c.wall})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range e.Lines {
			if want := quantity.Area(c.strips) * 60 * quantity.SquareFoot; l.Material == "ice-barrier" && l.Net.Area() != want {
				t.Errorf("overhang %v, wall %v: %v, want %v: %s", c.overhang, c.wall, l.Net, want, l.Basis)
			}
		}
	}
}

// Strips by hand: 16 in cover, slivers under 8 in avoided.
func TestStripsAndTheirStart(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	in := func(covers []quantity.Length) string {
		var b strings.Builder
		for _, c := range covers {
			b.WriteString(c.String() + " ")
		}
		return strings.TrimSpace(b.String())
	}
	for _, c := range []struct {
		width, from, want, shift string
	}{
		{"64 in", "", `1'-4" 1'-4" 1'-4" 1'-4"`, "0'"},
		{"60 in", "left", `1'-4" 1'-4" 1'-4" 1'`, "0'"},
		{"60 in", "right", `1'-4" 1'-4" 1'-4" 1'`, "0'"},
		{"60 in", "rake-2", `1'-4" 1'-4" 1'-4" 1'`, "0'"},
		{"60 in", "centred", `1'-2" 1'-4" 1'-4" 1'-2"`, `2"`},
		{"52 in", "", `10" 1'-4" 1'-4" 10"`, `6"`},
		{"56 in", "", `1'-4" 1'-4" 1'-4" 8"`, "0'"},
		{"10 in", "", `10"`, "0'"},
		{"4 in", "", `4"`, "0'"},
		{"16.02 in", "", `1'-4"`, "0'"},
	} {
		e, err := takeoff.Laid(read(t, rectangle(c.width, "10'", "6/12", "")), a, takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"A": {From: c.from}}})
		if err != nil {
			t.Fatal(err)
		}
		var covers []quantity.Length
		for _, p := range e.Planes[0].Panels {
			covers = append(covers, p.Cover)
		}
		if in(covers) != c.want || e.Planes[0].Shift.String() != c.shift {
			t.Errorf("%s from %q: %s shifted %v, want %s, %s", c.width, c.from, in(covers), e.Planes[0].Shift, c.want, c.shift)
		}
		if told := len(e.Planes[0].Notes) > 0; told != (c.shift != "0'" || c.width == "4 in") {
			t.Errorf("%s from %q tells %q", c.width, c.from, e.Planes[0].Notes)
		}
	}
}

// Two planes at a square hip of one pitch: the neighbour's seams meet on the hip.
func TestSeamsMeetOnTheHip(t *testing.T) {
	t.Parallel()
	doc := `{"name":"corner","planes":[{"mark":"A","outline":[["0'","0'"],["31'","0'"],["21'","10'"],["0'","10'"]],"pitch":"6/12","falls_deg":180},
		{"mark":"B","outline":[["31'","0'"],["31'","25'"],["21'","25'"],["21'","10'"]],"pitch":"6/12","falls_deg":90}]}`
	e, err := takeoff.Laid(read(t, doc), shipped(t, "flat-clip"), takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"A": {From: takeoff.FromLeft}, "B": {Match: "A"}}})
	if err != nil {
		t.Fatal(err)
	}
	corners := func(p takeoff.Plane) map[roof.Point]bool {
		on := map[roof.Point]bool{}
		for _, panel := range p.Panels {
			for _, q := range panel.Outline {
				if q.X+q.Y == 31*quantity.Foot && q.Y > 0 && q.Y < 10*quantity.Foot {
					on[q] = true
				}
			}
		}
		return on
	}
	a, b := corners(e.Planes[0]), corners(e.Planes[1])
	if len(a) < 7 || len(a) != len(b) {
		t.Fatalf("%d seams of A and %d of B on the hip", len(a), len(b))
	}
	for q := range a {
		if !b[q] {
			t.Errorf("A's seam meets the hip at %v, none of B's", q)
		}
	}
}

func TestClipsStandCloserInZones(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	// 16 ft up the slope: span 192 - 9 = 183 in. Field seams 8+1, the first three and the
	// one at the rake 16+1.
	count := func(plan takeoff.Layout) int64 {
		e, err := takeoff.Laid(read(t, rectangle("128 in", "153.6 in", "9/12", "")), a, plan)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range e.Lines {
			if l.Material == "clip" {
				return l.Net.Thousandths() / 1000
			}
		}
		return 0
	}
	if got := count(takeoff.Layout{}); got != 4*17+4*9 {
		t.Errorf("%d clips, by hand %d", got, 4*17+4*9)
	}
	// Eave zone of 35 in at 6 in: from 5 to 35 in 5 gaps; then to 188 in 153 in: 7 gaps at
	// 24, 13 at 12.
	eave := takeoff.Layout{Zones: []takeoff.Zone{{Along: "eave", Depth: 35 * quantity.Inch, Spacing: 6 * quantity.Inch}}}
	if got := count(eave); got != 4*(5+13+1)+4*(5+7+1) {
		t.Errorf("%d clips with an eave zone, by hand %d", got, 4*19+4*13)
	}
	// Rake zone of 17 in at 8 in: the seam next to either side, and the one at the rake,
	// 183/8 = 23 gaps.
	rake := takeoff.Layout{Zones: []takeoff.Zone{{Plane: "A", Along: "rake", Depth: 17 * quantity.Inch, Spacing: 8 * quantity.Inch}}}
	if got := count(rake); got != 3*24+2*17+3*9 {
		t.Errorf("%d clips with a rake zone, by hand %d", got, 3*24+2*17+3*9)
	}
}

// A single slope has panels on one side of its ridge only.
func TestARidgeWithOnePlaneIsClosedOnOneSide(t *testing.T) {
	t.Parallel()
	e := of(t, rectangle("20'", "10'", "6/12", ""), "flat-clip")
	for _, d := range e.Demands {
		if d.Place == "ridge-1" && d.Step == "closures" && d.Material != "trim-screw" && d.Net != quantity.OfLength(20*quantity.Foot) {
			t.Errorf("%s takes %v: %s", d.Material, d.Net, d.Basis)
		}
	}
}

func TestExtents(t *testing.T) {
	t.Parallel()
	e := of(t, rectangle("20'", "10'", "9/12", ""), "flat-clip")
	for _, c := range []struct {
		place events.Place
		step  events.StepID
		want  string
	}{
		{"A", "felt", "250 sqft"}, {"A", "panels", "15 each"}, {"A", "", "250 sqft"}, {"eave-1", "eave-trim", "20'"}, {"rake-1", "rake-trim", `12'-6"`}, {"eave-1", "", "20'"},
	} {
		if got := e.Extent(c.place, c.step); got.String() != c.want {
			t.Errorf("%s %s is %v, want %s", c.place, c.step, got, c.want)
		}
	}
	if got := e.Extent("B", "felt"); got != (quantity.Amount{}) {
		t.Errorf("an unknown plane has %v", got)
	}
	if p, ok := e.Panel("A-03"); !ok || p.Length != 150*quantity.Inch {
		t.Errorf("A-03 is %+v", p)
	}
}

// Demands and lines say the same sums, and every line is in the demands.
func TestLinesAreTheSumsOfTheDemands(t *testing.T) {
	t.Parallel()
	for _, name := range assembly.Shipped() {
		e := of(t, rectangle("33'", "17'", "7/12", `,"openings":[[["10'","5'"],["12'","5'"],["12'","8'"],["10'","8'"]]]`), name)
		sums := map[events.MaterialID]quantity.Amount{}
		for _, d := range e.Demands {
			sum, err := sums[d.Material].Add(d.Net)
			if err != nil || d.Basis == "" {
				t.Fatal(d, err)
			}
			sums[d.Material] = sum
		}
		for _, l := range e.Lines {
			if sums[l.Material] != l.Net {
				t.Errorf("%s: %s line is %v, demands %v", name, l.Material, l.Net, sums[l.Material])
			}
			delete(sums, l.Material)
			gross, err := l.Net.Add(l.Waste)
			if err != nil {
				t.Fatal(err)
			}
			if c, err := l.Order.Cmp(gross); err != nil || c < 0 || l.Packs <= 0 || l.Basis == "" || len(l.Places) == 0 {
				t.Errorf("%s: line %+v", name, l)
			}
		}
		if len(sums) > 0 {
			t.Errorf("%s: no lines for %v", name, sums)
		}
	}
}
