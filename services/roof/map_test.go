package roof_test

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// elements walks an SVG as XML and counts its elements.
func elements(t *testing.T, svg string) map[string]int {
	t.Helper()
	count := make(map[string]int)
	decoder := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return count
		}
		if err != nil {
			t.Fatalf("not XML: %v\n%s", err, svg)
		}
		if e, ok := token.(xml.StartElement); ok {
			count[e.Name.Local]++
		}
	}
}

func TestMapShowsMarksLengthsAndStates(t *testing.T) {
	t.Parallel()
	r := read(t, ell)
	state := roof.MapState{
		ID:     "one",
		Edges:  map[roof.EdgeMark]roof.Note{"valley-1": {roof.Open, "cleats next"}, "ridge-1": {roof.WeatherTight, ""}, "eave-1": {roof.DriedIn, ""}, "eave-4": {roof.Untouched, ""}},
		Planes: map[roof.PlaneMark]roof.Note{"S": {roof.DriedIn, ""}, "N": {roof.Open, ""}, "W": {roof.WeatherTight, ""}, "I": {roof.Covered, ""}},
		Panels: []roof.Strip{{Mark: "S-01", Outline: []roof.Point{{0, 0}, {quantity.Foot, 0}, {quantity.Foot, quantity.Foot}}}},
		Link:   "/jobs/j-1/where/",
	}
	svg := roof.Map(r, state)
	for _, want := range []string{
		"valley-1", "12&#39;", "open cleats next", "ridge-1: 24&#39;, weather-tight", "S 6/12", `href="/jobs/j-1/where/valley-1"`,
		"S-01", ">N</text>", "10&#39;</text>", `id="one-title"`, "stroke-dasharray", "falling south",
	} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %q in the map", want)
		}
	}
	if svg != roof.Map(r, state) {
		t.Error("the same roof and state gave two maps")
	}
	if n := elements(t, svg); n["line"] < len(r.Edges) || n["title"] < 1+len(r.Edges)+len(r.Planes) {
		t.Errorf("the map has %v", n)
	}
}

func TestMapShowsWhatGoesThrough(t *testing.T) {
	t.Parallel()
	r := read(t, `{"name":"x","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,
		"openings":[[["10'","5'"],["12'","5'"],["12'","8'"],["10'","8'"]]],"opening_kinds":["chimney"],"pipes":[{"at":["30'","5'"],"diameter":"3 in"}]}]}`)
	svg := roof.Map(r, roof.MapState{Edges: map[roof.EdgeMark]roof.Note{"A/opening-1": {roof.Open, ""}}, Link: "#"})
	for _, want := range []string{"opening-1 chimney open", "A/opening-1: chimney, open", "pipe-1</text>", "A/pipe-1: pipe of 3&#34;", `href="#A%2Fopening-1"`} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %q in the map", want)
		}
	}
	if n := elements(t, svg); n["circle"] != 2 { // one is the hatch's
		t.Errorf("the map has %v", n)
	}
}

// Words lie over no other words, on any of the real roofs; only what is going on at an edge
// may, and there nothing is.
func TestMapsWordsAreApart(t *testing.T) {
	t.Parallel()
	words, lost := 0, 0
	for _, name := range cities {
		for _, b := range cityBuildings(t, name) {
			if b.Roof == nil {
				continue
			}
			boxes := textBoxes(t, roof.Map(b.Roof, roof.MapState{}))
			words += len(boxes)
			for i, p := range boxes {
				for _, q := range boxes[:i] {
					if p.over(q) {
						t.Fatalf("%s %s: %q lies over %q", name, b.ID, p.text, q.text)
					}
				}
			}
			for _, p := range b.Roof.Planes {
				if !slices.ContainsFunc(boxes, func(q textBox) bool { return strings.HasPrefix(q.text+" ", string(p.Mark)+" ") }) {
					lost++
				}
			}
		}
	}
	t.Logf("%d words, %d planes without their mark", words, lost)
}

// textBox is where words of the drawing stand, in their own direction.
type textBox struct {
	text                      string
	x, y, angle, long, height float64
}

// over tells whether the middle lines of two words, nine tenths as long as they are, cross
// or come nearer than half their height.
func (a textBox) over(b textBox) bool {
	dist := func(px, py float64, o textBox) float64 {
		sin, cos := math.Sincos(o.angle * math.Pi / 180)
		u, v := (px-o.x)*cos+(py-o.y)*sin, -(px-o.x)*sin+(py-o.y)*cos
		return math.Hypot(max(math.Abs(u)-o.long*0.45, 0), v)
	}
	for i := -9; i <= 9; i++ {
		sin, cos := math.Sincos(a.angle * math.Pi / 180)
		t := float64(i) / 20 * a.long
		if dist(a.x+cos*t, a.y+sin*t, b) < min(a.height, b.height)*0.4 {
			return true
		}
	}
	return false
}

func textBoxes(t *testing.T, svg string) []textBox {
	t.Helper()
	var all []textBox
	decoder := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := token.(xml.StartElement)
		if !ok || e.Name.Local != "text" {
			continue
		}
		b := textBox{height: 24}
		anchored := false
		for _, a := range e.Attr {
			switch a.Name.Local {
			case "x":
				b.x = float(t, a.Value)
			case "y":
				b.y = float(t, a.Value)
			case "font-size":
				b.height = float(t, a.Value)
			case "text-anchor":
				anchored = true
			case "transform":
				b.angle = float(t, strings.Fields(strings.TrimPrefix(a.Value, "rotate("))[0])
			}
		}
		inner, err := decoder.Token()
		if err != nil {
			t.Fatal(err)
		}
		if data, ok := inner.(xml.CharData); ok && anchored {
			b.text = string(data)
			b.long = 0.5 * b.height * float64(len(b.text))
			// The place is of the base line; a third of the height above it is the middle.
			sin, cos := math.Sincos(b.angle * math.Pi / 180)
			b.x, b.y = b.x+sin*b.height/3, b.y-cos*b.height/3
			all = append(all, b)
		}
	}
}

func TestMapEscapes(t *testing.T) {
	t.Parallel()
	const evil = `</title><script>alert("x")</script>&'` + "\x01\xff"
	r := read(t, gable)
	r.Name = evil
	svg := roof.Map(r, roof.MapState{
		ID: evil, Link: `javascript:"><script>`, Edges: map[roof.EdgeMark]roof.Note{"eave-1": {roof.State(evil), evil}},
		Planes: map[roof.PlaneMark]roof.Note{"A": {roof.State(evil), evil}}, Panels: []roof.Strip{{Mark: evil, Outline: r.Planes[0].Outline}},
	})
	if n := elements(t, svg); n["script"] != 0 {
		t.Errorf("a script came through:\n%s", svg)
	}
}
