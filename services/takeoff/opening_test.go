package takeoff_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roof"
	"bydark/services/takeoff"

	"pgregory.net/rapid"
)

func TestWorkedSheetOfOpenings(t *testing.T) {
	t.Parallel()
	doc, err := os.ReadFile("../../testdata/takeoff/openings.json")
	if err != nil {
		t.Fatal(err)
	}
	e := of(t, string(doc), "flat-clip")
	sheet := tables(t, "../../testdata/takeoff/openings.md")
	if len(sheet) != 2 {
		t.Fatalf("the sheet has %d tables", len(sheet))
	}
	openings, lines := sheet[0][2:], sheet[1][2:]
	if len(openings) != len(e.Openings) {
		t.Fatalf("%d openings, by hand %d", len(e.Openings), len(openings))
	}
	for i, o := range e.Openings {
		got := []string{string(o.Mark), o.Kind, o.Width.Nearest(16), o.Round.Nearest(16), o.Apron.Nearest(16), o.Sides.Nearest(16), o.Head.Nearest(16), fmt.Sprintf("%.1f", o.Above.SquareFeet())}
		if fmt.Sprint(got) != fmt.Sprint(openings[i]) {
			t.Errorf("opening %v, by hand %v", got, openings[i])
		}
	}
	var got [][]string
	for _, d := range e.Demands {
		if strings.Contains(string(d.Place), "/") {
			laps := words(d.Laps)
			if d.Laps == (quantity.Amount{}) {
				laps = "0"
			}
			got = append(got, []string{string(d.Place), string(d.Step), string(d.Material), words(d.Net), laps})
		}
	}
	if len(got) != len(lines) {
		t.Errorf("%d lines, by hand %d", len(got), len(lines))
	}
	for i := range min(len(got), len(lines)) {
		if fmt.Sprint(got[i]) != fmt.Sprint(lines[i]) {
			t.Errorf("line %v, by hand %v", got[i], lines[i])
		}
	}
	for _, p := range e.Planes[0].Panels {
		want := map[events.PieceMark]string{
			"A-08": `for A/opening-1, 8" to 1'-4" from the left seam, 10' to 12'-6" up`, "A-11": `for A/opening-1, 0' to 1' from the left seam, 10' to 12'-6" up`,
			"A-19": `for A/opening-2, 0' to 8" from the left seam, 7'-6" to 12'-6" up`,
		}[p.Mark]
		if got := fmt.Sprint(p.Cutouts); got != "["+want+"]" {
			t.Errorf("%s is cut out %s, by hand %q", p.Mark, got, want)
		}
	}
	notes := strings.Join(e.Planes[0].Notes, "\n")
	for _, want := range []string{
		`A/pipe-1, 4" wide, goes through panel A-26: its middle is 8" from the left seam and 6'-3" up`, `A seam is 0' from its middle, nearer than its boot reaches`,
	} {
		if !strings.Contains(notes, want) {
			t.Errorf("the notes do not say %q:\n%s", want, notes)
		}
	}
}

// A narrow chimney has a pan, a wide one a cricket, from 30 in on (IRC R903.2.2, R1003.20).
// The cricket is as high as IRC table R1003.20 says: half the width at 12/12, a third at
// 8/12, a quarter at 6/12, a sixth at 4/12, an eighth at 3/12.
func TestCrickets(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		width quantity.Length // up to 60 in
		pitch string
		high  quantity.Length // zero: none is due
	}{
		{30 * quantity.Inch, "12/12", 0},
		{30*quantity.Inch + quantity.Inch/16, "12/12", 15*quantity.Inch + quantity.Inch/32},
		{48 * quantity.Inch, "12/12", 24 * quantity.Inch},
		{48 * quantity.Inch, "8/12", 16 * quantity.Inch},
		{48 * quantity.Inch, "6/12", 12 * quantity.Inch},
		{48 * quantity.Inch, "4/12", 8 * quantity.Inch},
		{48 * quantity.Inch, "3/12", 6 * quantity.Inch},
	} {
		hole := fmt.Sprintf(`,"opening_kinds":["chimney"],"openings":[[["10'","5'"],[%q,"5'"],[%q,"8'"],["10'","8'"]]]`, 10*quantity.Foot+c.width, 10*quantity.Foot+c.width)
		e := of(t, rectangle("33'", "17'", c.pitch, hole), "flat-clip")
		pan, cricket := "", ""
		for _, d := range e.Demands {
			switch d.Material {
			case "back-pan":
				pan = d.Basis
			case "flat-sheet":
				cricket = d.Basis
			}
		}
		if (pan == "") == (cricket == "") || (c.high == 0) != (cricket == "") {
			t.Errorf("%v wide at %s: pan %q, cricket %q", c.width, c.pitch, pan, cricket)
		}
		if want := c.high.Nearest(16) + " high"; c.high > 0 && !strings.Contains(cricket, want) {
			t.Errorf("%v wide at %s: want %q in %q", c.width, c.pitch, want, cricket)
		}
	}
}

// A dormer whose own planes are drawn in its cut-out has edges all round, which have
// their steps; where only its front stands free, the rest alone is flashed.
func TestWhatEdgesHaveOfAnOpeningIsNotFlashedTwice(t *testing.T) {
	t.Parallel()
	main := `{"name":"dormer","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","20'"],["0'","20'"]],"pitch":"6/12","falls_deg":180,"eave_height":"0'",
		"openings":[[["10'","5'"],["18'","5'"],["18'","13'"],["10'","13'"]]],"opening_kinds":["dormer"]}%s]}`
	free := of(t, fmt.Sprintf(main, ""), "flat-clip")
	if o := free.Openings[0]; o.Apron != 8*quantity.Foot || o.Head != 8*quantity.Foot || len(free.StepsAt(o.Mark)) == 0 {
		t.Errorf("with nothing drawn in it: %+v", o)
	}
	shed := of(t, fmt.Sprintf(main, `,{"mark":"D","outline":[["10'","5'"],["18'","5'"],["18'","13'"],["10'","13'"]],"pitch":"3/12","falls_deg":180,"eave_height":"6'"}`), "flat-clip")
	o := shed.Openings[0]
	if o.Round != 0 || len(shed.StepsAt(o.Mark)) != 0 || shed.Extent(o.Mark, "") != (quantity.Amount{}) {
		t.Errorf("with its plane drawn: %+v, steps %v", o, shed.StepsAt(o.Mark))
	}
}

// What the assembly says nothing of is told, and ordered by nobody.
func TestAnAssemblyWithoutStepsForAnOpening(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	a.Openings = nil
	e, err := takeoff.Of(read(t, rectangle("33'", "17'", "7/12", `,"pipes":[{"at":["5'","5'"],"diameter":"3 in"}]`)), a)
	if err != nil {
		t.Fatal(err)
	}
	if notes := strings.Join(e.Notes, "\n"); !strings.Contains(notes, "A/pipe-1 is a pipe, and the assembly has no steps for it") {
		t.Error(notes)
	}
}

// By hand: an L of two legs, all corners. The eave trim is folded where the roof ends, not
// in the inside corner; a gable's ridge cap is folded at both its ends.
func TestTrimsAreFoldedRoundOutsideCorners(t *testing.T) {
	t.Parallel()
	gable := `{"name":"gable","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180},
		{"mark":"B","outline":[["0'","15'"],["40'","15'"],["40'","30'"],["0'","30'"]],"pitch":"6/12","falls_deg":0}]}`
	doc, err := os.ReadFile("../../testdata/takeoff/l-hip.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		roof, material string
		corners        map[string]string // by place
	}{
		{gable, "eave-trim", map[string]string{"eave-1": "2 outside corners", "eave-2": "2 outside corners"}},
		{gable, "rake-trim", map[string]string{"rake-1": "1 outside corner", "rake-2": "1 outside corner", "rake-3": "1 outside corner", "rake-4": "1 outside corner"}},
		{gable, "cap", map[string]string{"ridge-1": "2 outside corners"}},
		{string(doc), "cap", map[string]string{"hip-1": "1 outside corner", "hip-2": "1 outside corner", "hip-3": "1 outside corner", "hip-4": "1 outside corner", "hip-5": "1 outside corner"}},
		{string(doc), "eave-trim", map[string]string{"eave-1": "2 outside corners", "eave-2": "2 outside corners", "eave-3": "2 outside corners", "eave-4": "2 outside corners", "eave-5": "1 outside corner", "eave-6": "1 outside corner"}},
	} {
		got := map[string]int{}
		want := map[string]int{}
		for _, words := range c.corners {
			want[words]++
		}
		for _, d := range of(t, c.roof, "flat-clip").Demands {
			if string(d.Material) != c.material {
				continue
			}
			for _, n := range []string{"1 outside corner,", "2 outside corners,"} {
				if strings.Contains(d.Basis, "each of "+n) {
					got[strings.TrimSuffix(n, ",")]++
				}
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: %v, by hand %v", c.material, got, want)
		}
	}
}

// Openings of any shape, however the roof falls, are flashed once all round, in as many runs
// as they have parts, and take nothing below zero.
func TestOpeningsOfAnyShape(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(3, 9).Draw(rt, "corners")
		turn := rapid.Float64Range(0, 360).Draw(rt, "turn")
		var ring []string
		for i := range n {
			at := (turn + 360*float64(i)/float64(n)) * math.Pi / 180
			out := rapid.Float64Range(0.6, 2).Draw(rt, "out")
			ring = append(ring, fmt.Sprintf(`["%.4f m","%.4f m"]`, 10+out*math.Cos(at), 5+out*math.Sin(at)))
		}
		doc := fmt.Sprintf(`{"name":"x","planes":[{"mark":"A","outline":[["0 m","0 m"],["20 m","0 m"],["20 m","10 m"],["0 m","10 m"]],"pitch":"%d/12","falls_deg":%d,
			"openings":[[%s]],"opening_kinds":[%q]}]}`, rapid.IntRange(3, 24).Draw(rt, "rise"), rapid.IntRange(0, 359).Draw(rt, "falls"),
			strings.Join(ring, ","), rapid.SampledFrom([]string{"chimney", "skylight", "dormer", "curb"}).Draw(rt, "kind"))
		r, err := roof.Read([]byte(doc))
		if err != nil {
			return // a border nearer to itself than an eighth of an inch
		}
		e := laid(t, r, a)
		o, hole := e.Openings[0], r.Planes[0].Openings[0]
		if d := (o.Round - hole.Perimeter).Abs(); d > quantity.Length(2*n) || o.Apron+o.Sides+o.Head != o.Round || o.Above <= 0 {
			rt.Fatalf("%+v, the hole is %v round, in %s", o, hole.Perimeter, doc)
		}
		for _, d := range e.Demands {
			if d.Net.Sign() < 0 || d.Laps.Sign() < 0 || d.Basis == "" {
				rt.Fatalf("%+v in %s", d, doc)
			}
		}
	})
}
