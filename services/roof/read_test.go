package roof_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
)

const gable = `{"name":"gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'",
  "openings":[[["10'","5'"],["12'","5'"],["12'","8'"],["10'","8'"]]]},
 {"mark":"B","outline":[["0'","15'"],["40'","15'"],["40'","30'"],["0'","30'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`

func read(t testing.TB, text string) *roof.Roof {
	t.Helper()
	r, err := roof.Read([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// summary tells a roof's edges in words, one a line.
func summary(r *roof.Roof) string {
	var b strings.Builder
	for _, e := range r.Edges {
		fmt.Fprintf(&b, "%s %v %s", e.Mark, e.Planes, e.Length.Nearest(16))
		if e.IsFree() {
			fmt.Fprintf(&b, " facing %g", e.FacingDeg)
		}
		fmt.Fprintf(&b, " sheds %.2f drains %.2f leaves %.2f sqft\n", e.Sheds.SquareFeet(), e.Drains.SquareFeet(), e.Leaves.SquareFeet())
	}
	return b.String()
}

func TestGable(t *testing.T) {
	t.Parallel()
	r := read(t, gable)
	// 15 ft at 6/12 is 15 x sqrt(1.25) = 16.7705 ft = 16'-9 1/4"; the opening takes 6
	// of 600 sqft.
	want := `eave-1 [A] 40' facing 180 sheds 594.00 drains 594.00 leaves 594.00 sqft
eave-2 [B] 40' facing 0 sheds 600.00 drains 600.00 leaves 600.00 sqft
rake-1 [A] 16'-9 1/4" facing 270 sheds 0.00 drains 0.00 leaves 0.00 sqft
rake-2 [A] 16'-9 1/4" facing 90 sheds 0.00 drains 0.00 leaves 0.00 sqft
rake-3 [B] 16'-9 1/4" facing 270 sheds 0.00 drains 0.00 leaves 0.00 sqft
rake-4 [B] 16'-9 1/4" facing 90 sheds 0.00 drains 0.00 leaves 0.00 sqft
ridge-1 [A B] 40' sheds 0.00 drains 0.00 leaves 0.00 sqft
`
	if got := summary(r); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	ridge, _ := r.Edge("ridge-1")
	if ridge.FromHeight != 17*quantity.Foot+6*quantity.Inch || ridge.ToHeight != ridge.FromHeight {
		t.Errorf("ridge at %v and %v", ridge.FromHeight, ridge.ToHeight)
	}
	if o := r.Planes[0].Openings[0]; o.PlanArea != 6*quantity.SquareFoot || o.Perimeter.Nearest(16) != `10'-8 1/2"` {
		t.Errorf("opening %v, %v round", o.PlanArea, o.Perimeter)
	}
}

func TestWriteReadsBack(t *testing.T) {
	t.Parallel()
	for _, text := range []string{gable, ell, tee, gambrel, step} {
		r := read(t, text)
		first, err := roof.Write(r)
		if err != nil {
			t.Fatal(err)
		}
		again := read(t, string(first))
		second, err := roof.Write(again)
		if err != nil || !bytes.Equal(first, second) {
			t.Errorf("written twice: %v\n%s\n%s", err, first, second)
		}
		if summary(r) != summary(again) {
			t.Errorf("%s changed by writing:\n%s\n%s", r.Name, summary(r), summary(again))
		}
	}
}

// ell is an L of two hipped wings 16 ft wide, 6/12 all round: eight feet of run up
// to every ridge.
const ell = `{"name":"ell","planes":[
 {"mark":"S","outline":[["0'","0'"],["40'","0'"],["32'","8'"],["8'","8'"]],"pitch":"6/12","falls_deg":180},
 {"mark":"E","outline":[["40'","0'"],["40'","16'"],["32'","8'"]],"pitch":"6/12","falls_deg":90},
 {"mark":"N","outline":[["40'","16'"],["16'","16'"],["8'","8'"],["32'","8'"]],"pitch":"6/12","falls_deg":0},
 {"mark":"I","outline":[["16'","16'"],["16'","36'"],["8'","28'"],["8'","8'"]],"pitch":"6/12","falls_deg":90},
 {"mark":"T","outline":[["16'","36'"],["0'","36'"],["8'","28'"]],"pitch":"6/12","falls_deg":0},
 {"mark":"W","outline":[["0'","36'"],["0'","0'"],["8'","8'"],["8'","28'"]],"pitch":"6/12","falls_deg":270}]}`

func TestEll(t *testing.T) {
	t.Parallel()
	// Hips and valleys are 8 x sqrt(2.25) = 12 ft (hip factor 1.5 at 6/12). The valley
	// takes, from each side, the triangle of 8 by 8 above it: 32 sqft each.
	want := `eave-1 [S] 40' facing 180 sheds 256.00 drains 256.00 leaves 256.00 sqft
eave-2 [E] 16' facing 90 sheds 64.00 drains 64.00 leaves 64.00 sqft
eave-3 [N] 24' facing 0 sheds 160.00 drains 160.00 leaves 160.00 sqft
eave-4 [W] 36' facing 270 sheds 224.00 drains 224.00 leaves 224.00 sqft
eave-5 [I] 20' facing 90 sheds 128.00 drains 128.00 leaves 128.00 sqft
eave-6 [T] 16' facing 0 sheds 64.00 drains 64.00 leaves 64.00 sqft
ridge-1 [N S] 24' sheds 0.00 drains 0.00 leaves 0.00 sqft
ridge-2 [I W] 20' sheds 0.00 drains 0.00 leaves 0.00 sqft
hip-1 [S W] 12' sheds 0.00 drains 0.00 leaves 0.00 sqft
hip-2 [E S] 12' sheds 0.00 drains 0.00 leaves 0.00 sqft
hip-3 [E N] 12' sheds 0.00 drains 0.00 leaves 0.00 sqft
hip-4 [T W] 12' sheds 0.00 drains 0.00 leaves 0.00 sqft
hip-5 [I T] 12' sheds 0.00 drains 0.00 leaves 0.00 sqft
valley-1 [I N] 12' sheds 64.00 drains 64.00 leaves 64.00 sqft
`
	if got := summary(read(t, ell)); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

// tee is a main roof with a gabled wing on the north side whose ridge stops in the
// main plane: both valleys run down to the eave corners.
const tee = `{"name":"tee","planes":[
 {"mark":"S","outline":[["0'","0'"],["40'","0'"],["40'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"9'"},
 {"mark":"N","outline":[["0'","12'"],["40'","12'"],["40'","24'"],["26'","24'"],["20'","18'"],["14'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0},
 {"mark":"W","outline":[["14'","24'"],["20'","18'"],["20'","30'"],["14'","30'"]],"pitch":"6/12","falls_deg":270},
 {"mark":"E","outline":[["26'","24'"],["26'","30'"],["20'","30'"],["20'","18'"]],"pitch":"6/12","falls_deg":90}]}`

// gambrel has steep planes below flatter ones.
const gambrel = `{"name":"gambrel","planes":[
 {"mark":"L","outline":[["0'","0'"],["30'","0'"],["30'","4'"],["0'","4'"]],"pitch":"18/12","falls_deg":180,"eave_height":"8'"},
 {"mark":"U","outline":[["0'","4'"],["30'","4'"],["30'","12'"],["0'","12'"]],"pitch":"5/12","falls_deg":180},
 {"mark":"V","outline":[["0'","12'"],["30'","12'"],["30'","20'"],["0'","20'"]],"pitch":"5/12","falls_deg":0},
 {"mark":"M","outline":[["0'","20'"],["30'","20'"],["30'","24'"],["0'","24'"]],"pitch":"18/12","falls_deg":0}]}`

// step is a shed roof under the eave of a higher one, and a dormer in an opening.
const step = `{"name":"step","planes":[
 {"mark":"low","outline":[["0'","0'"],["30'","0'"],["30'","10'"],["0'","10'"]],"pitch":"3/12","falls_deg":180,"eave_height":"8'"},
 {"mark":"high","outline":[["0'","10'"],["20'","10'"],["20'","22'"],["0'","22'"]],"pitch":"6/12","falls_deg":180,"eave_height":"18'",
  "openings":[[["8'","14'"],["12'","14'"],["12'","18'"],["8'","18'"]]]},
 {"mark":"cap","outline":[["8'","14'"],["12'","14'"],["12'","18'"],["8'","18'"]],"pitch":"2/12","falls_deg":180,"eave_height":"23'"}],
 "edges":[{"between":["low"],"from":["20'","10'"],"to":["30'","10'"],"kind":"wall"}]}`

func TestWaterRunsOn(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text string
		want map[roof.EdgeMark]string // kind, planes, drains, leaves
	}{
		"tee": {tee, map[roof.EdgeMark]string{
			"valley-1": "[N W] 72.00 72.00", "valley-2": "[E N] 72.00 72.00", "ridge-2": "[E W] 0.00 0.00",
			"eave-4": "[W] 36.00 36.00",
		}},
		"gambrel": {gambrel, map[roof.EdgeMark]string{
			"break-1": "[L U] 240.00 0.00", "break-2": "[M V] 240.00 0.00", "eave-1": "[L] 360.00 360.00", "eave-2": "[M] 360.00 360.00",
		}},
		"step": {step, map[roof.EdgeMark]string{
			"wall-1": "[low] 0.00 0.00", "wall-2": "[low] 0.00 0.00", "eave-1": "[low] 540.00 540.00", "eave-2": "[high] 240.00 0.00",
			"eave-3": "[cap] 16.00 0.00", "wall-3": "[high] 0.00 0.00",
		}},
	} {
		r := read(t, c.text)
		for mark, want := range c.want {
			e, ok := r.Edge(mark)
			if !ok {
				t.Errorf("%s: no %s among\n%s", name, mark, summary(r))
				continue
			}
			if got := fmt.Sprintf("%v %.2f %.2f", e.Planes, e.Drains.SquareFeet(), e.Leaves.SquareFeet()); got != want {
				t.Errorf("%s: %s is %s, want %s", name, mark, got, want)
			}
		}
	}
}

func TestPlanesHangOnTheirNeighbours(t *testing.T) {
	t.Parallel()
	r := read(t, gambrel)
	for mark, want := range map[roof.PlaneMark]quantity.Length{"L": 8 * quantity.Foot, "U": 14 * quantity.Foot, "V": 14 * quantity.Foot, "M": 8 * quantity.Foot} {
		if p, _ := r.Plane(mark); p.EaveHeight != want {
			t.Errorf("plane %s starts at %v, want %v", mark, p.EaveHeight, want)
		}
	}
	r = read(t, strings.Replace(gambrel, `,"eave_height":"8'"`, "", 1))
	if p, _ := r.Plane("V"); p.EaveHeight != 6*quantity.Foot {
		t.Errorf("hung on nothing given, V starts at %v, want 6 ft over the eaves", p.EaveHeight)
	}
}

func TestOverrules(t *testing.T) {
	t.Parallel()
	with := func(line string) *roof.Roof { return read(t, strings.TrimSuffix(gable, "}")+`,"edges":[`+line+`]}`) }
	r := with(`{"between":["A"],"from":["0'","0'"],"to":["0'","15'"],"kind":"wall"}`)
	if e, ok := r.Edge("wall-1"); !ok || e.FacingDeg != 270 {
		t.Errorf("no wall on the west side:\n%s", summary(r))
	}
	r = with(`{"between":["B","A"],"from":["0'","15'"],"to":["20'","15'"],"kind":"break"}`)
	half, ok := r.Edge("break-1")
	rest, _ := r.Edge("ridge-1")
	if !ok || half.Length != 20*quantity.Foot || rest.Length != 20*quantity.Foot {
		t.Errorf("half the ridge was not overruled:\n%s", summary(r))
	}
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	plane := func(more string) string {
		return `{"name":"x","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180` + more + `}]}`
	}
	outline := func(points string) string {
		return `{"planes":[{"mark":"A","outline":` + points + `,"pitch":"6/12","falls_deg":180}]}`
	}
	two := func(second string) string {
		return `{"planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180},
			{"mark":"B","outline":` + second + `,"pitch":"6/12","falls_deg":0}]}`
	}
	for name, c := range map[string]struct{ text, code, where string }{
		"empty":            {"", "not-a-roof-file", "roof file"},
		"null":             {"null", "no-planes", "planes"},
		"a list":           {"[]", "not-a-roof-file", "roof file"},
		"trailing":         {gable + "x", "not-a-roof-file", "roof file"},
		"unknown":          {`{"planes":[],"roof":1}`, "not-a-roof-file", "/roof"},
		"other case":       {strings.Replace(gable, `"pitch"`, `"Pitch"`, 1), "not-a-roof-file", "/planes/0/Pitch"},
		"doubled member":   {`{"name":"a","name":"b","planes":[]}`, "not-a-roof-file", "/name"},
		"bad UTF-8":        {"{\"name\":\"\xff\",\"planes\":[]}", "not-a-roof-file", ""},
		"deep":             {`{"name":` + strings.Repeat("[", 100_000) + "}", "not-a-roof-file", ""},
		"deep outline":     {outline(strings.Repeat("[", 100_000)), "not-a-roof-file", ""},
		"a number":         {outline("[[0,0],[1,0],[1,1]]"), "not-a-roof-file", "/planes/0/outline/0/0"},
		"no pitch":         {strings.Replace(plane(""), `"pitch":"6/12",`, "", 1), "unreadable-pitch", "plane A, pitch"},
		"zero pitch":       {strings.Replace(plane(""), "6/12", "0/12", 1), "zero-pitch", "plane A, pitch"},
		"steep":            {strings.Replace(plane(""), "6/12", "24.01/12", 1), "too-steep", "plane A, pitch"},
		"no fall":          {strings.Replace(plane(""), `,"falls_deg":180`, "", 1), "bad-fall", "plane A, falls_deg"},
		"fall beyond":      {strings.Replace(plane(""), "180", "360.5", 1), "bad-fall", "plane A, falls_deg"},
		"infinite fall":    {strings.Replace(plane(""), "180", "1e999", 1), "not-a-roof-file", "falls_deg"},
		"NaN":              {strings.Replace(plane(""), "180", "NaN", 1), "not-a-roof-file", "falls_deg"},
		"no mark":          {strings.Replace(plane(""), `"A"`, `""`, 1), "bad-mark", "planes[0].mark"},
		"mark roof":        {strings.Replace(plane(""), `"A"`, `"roof"`, 1), "bad-mark", "planes[0].mark"},
		"mark of an edge":  {strings.Replace(plane(""), `"A"`, `"ridge-1"`, 1), "bad-mark", "planes[0].mark"},
		"same mark":        {strings.Replace(two(`[["0'","15'"],["40'","15'"],["40'","30'"],["0'","30'"]]`), `"B"`, `"A"`, 1), "doubled-mark", "planes[1].mark"},
		"no unit":          {outline(`[["0","0'"],["40'","0'"],["40'","15'"]]`), "unreadable-length", "plane A, outline, point 1, east"},
		"three numbers":    {outline(`[["0'","0'","0'"],["40'","0'"],["40'","15'"]]`), "bad-point", "plane A, outline, point 1"},
		"far away":         {outline(`[["0'","0'"],["40000'","0'"],["40'","15'"]]`), "too-far", "plane A, outline, point 2, east"},
		"two points":       {outline(`[["0'","0'"],["40'","0'"]]`), "open-outline", "plane A, outline"},
		"there and back":   {outline(`[["0'","0'"],["40'","0'"],["0'","0'"]]`), "open-outline", "plane A, outline"},
		"no area":          {outline(`[["0'","0'"],["40'","0'"],["20'","0'"]]`), "too-narrow", "plane A, outline, point 3"},
		"sliver":           {outline(`[["0'","0'"],["40'","0'"],["40'","1/16\""],["0'","1/16\""]]`), "points-too-close", "plane A, outline, point 3"},
		"same point twice": {outline(`[["0'","0'"],["40'","0'"],["40'","0'"],["40'","15'"]]`), "points-too-close", "plane A, outline, point 3"},
		"bow tie":          {outline(`[["0'","0'"],["40'","15'"],["40'","0'"],["0'","15'"]]`), "self-crossing", "plane A, outline, point 1"},
		"pinched":          {outline(`[["0'","0'"],["20'","10'"],["40'","0'"],["40'","20'"],["20'","10'"],["0'","20'"]]`), "too-narrow", "plane A, outline, point"},
		"opening outside":  {plane(`,"openings":[[["50'","5'"],["52'","5'"],["52'","8'"]]]`), "opening-outside", "plane A, opening 1"},
		"opening astride":  {plane(`,"openings":[[["39'","5'"],["42'","5'"],["42'","8'"],["39'","8'"]]]`), "opening-outside", "plane A"},
		"opening at edge":  {plane(`,"openings":[[["38'","5'"],["40'","5'"],["40'","8'"],["38'","8'"]]]`), "too-narrow", "plane A"},
		"opening in one":   {plane(`,"openings":[[["10'","2'"],["20'","2'"],["20'","12'"],["10'","12'"]],[["12'","4'"],["14'","4'"],["14'","6'"]]]`), "opening-outside", "plane A, opening 2"},
		"kinds of too few": {plane(`,"openings":[[["10'","5'"],["12'","5'"],["12'","8'"]]],"opening_kinds":["chimney","curb"]`), "bad-opening-kinds", "plane A, opening_kinds"},
		"kind of no such":  {plane(`,"openings":[[["10'","5'"],["12'","5'"],["12'","8'"]]],"opening_kinds":["pipe"]`), "bad-opening-kinds", "plane A, opening_kinds, 1"},
		"pipe outside":     {plane(`,"pipes":[{"at":["50'","5'"],"diameter":"3 in"}]`), "pipe-outside", "plane A, pipe 1"},
		"pipe astride":     {plane(`,"pipes":[{"at":["20'","5'"],"diameter":"3 in"},{"at":["1 in","5'"],"diameter":"3 in"}]`), "pipe-outside", "plane A, pipe 2"},
		"pipe in a hole":   {plane(`,"openings":[[["10'","5'"],["12'","5'"],["12'","8'"],["10'","8'"]]],"pipes":[{"at":["11'","6'"],"diameter":"3 in"}]`), "pipe-outside", "plane A, pipe 1"},
		"pipe too wide":    {plane(`,"pipes":[{"at":["20'","5'"],"diameter":"25 in"}]`), "bad-pipe", "plane A, pipe 1, diameter"},
		"pipe of nothing":  {plane(`,"pipes":[{"at":["20'","5'"],"diameter":"0 in"}]`), "bad-pipe", "plane A, pipe 1, diameter"},
		"pipe nowhere":     {plane(`,"pipes":[{"at":["20'"],"diameter":"3 in"}]`), "bad-point", "plane A, pipe 1"},
		"pipe of no unit":  {plane(`,"pipes":[{"at":["20'","5'"],"diameter":"3"}]`), "unreadable-length", "plane A, pipe 1, diameter"},
		"overlap":          {two(`[["0'","14'"],["40'","14'"],["40'","30'"],["0'","30'"]]`), "overlap", "planes A and B"},
		"same plane twice": {two(`[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]]`), "overlap", "planes A and B"},
		"plane in plane":   {two(`[["10'","5'"],["20'","5'"],["20'","10'"]]`), "overlap", "planes A and B"},
		"chord of plane":   {two(`[["0'","0'"],["40'","15'"],["0'","15'"]]`), "overlap", "planes A and B"},
		"no such edge":     {strings.Replace(plane(""), `}]}`, `}],"edges":[{"between":["A"],"from":["0'","1'"],"to":["0'","-3'"],"kind":"wall"}]}`, 1), "no-such-edge", "edges[0]"},
		"no such plane":    {strings.Replace(plane(""), `}]}`, `}],"edges":[{"between":["C"],"kind":"wall"}]}`, 1), "no-such-plane", "edges[0].between"},
		"no such kind":     {strings.Replace(plane(""), `}]}`, `}],"edges":[{"between":["A"],"kind":"gutter"}]}`, 1), "bad-kind", "edges[0].kind"},
	} {
		r, err := roof.Read([]byte(c.text))
		refusal, ok := errors.AsType[*roof.Refusal](err)
		switch {
		case err == nil:
			t.Errorf("%s: read as\n%s", name, summary(r))
		case !ok:
			t.Errorf("%s: not a refusal: %v", name, err)
		case refusal.Code != c.code || !strings.Contains(refusal.Where, c.where) || refusal.Want == "":
			t.Errorf("%s: refused with %+v, want %s at %s", name, *refusal, c.code, c.where)
		}
	}
}

// What stands in openings and where pipes go is read, and written as it was read.
func TestOpeningsAndPipes(t *testing.T) {
	t.Parallel()
	text := `{"name":"x","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,
		"openings":[[["10'","5'"],["12'","5'"],["12'","8'"],["10'","8'"]],[["20'","5'"],["22'","5'"],["22'","8'"],["20'","8'"]]],"opening_kinds":["chimney","curb"],
		"pipes":[{"at":["30'","5'"],"diameter":"3 in"}]}]}`
	r, err := roof.Read([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		p := r.Planes[0]
		if p.Openings[0].Kind != roof.Chimney || p.Openings[1].Kind != roof.Curb || p.Openings[0].Mark != "A/opening-1" {
			t.Errorf("openings %+v", p.Openings)
		}
		if len(p.Pipes) != 1 || p.Pipes[0] != (roof.Pipe{Mark: "A/pipe-1", At: roof.Point{X: 30 * quantity.Foot, Y: 5 * quantity.Foot}, Diameter: 3 * quantity.Inch}) {
			t.Errorf("pipes %+v", p.Pipes)
		}
		again, err := roof.Write(r)
		if err != nil {
			t.Fatal(err)
		}
		if r, err = roof.Read(again); err != nil {
			t.Fatal(err)
		}
	}
}

// Ten million points come as an error before the roof is looked at; so do as many as
// the size allows.
func TestReadIsBounded(t *testing.T) {
	t.Parallel()
	for _, points := range []int{10_000_000, 200_000, roof.MaxPlanePoints + 1} {
		text := `{"planes":[{"mark":"A","pitch":"6/12","falls_deg":0,"outline":[` + strings.Repeat(`["0'","0'"],`, points-1) + `["0'","0'"]]}]}`
		_, err := roof.Read([]byte(text))
		if refusal, ok := errors.AsType[*roof.Refusal](err); !ok || refusal.Code != "too-large" {
			t.Errorf("%d points: %v", points, err)
		}
	}
}
