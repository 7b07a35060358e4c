package roof_test

import (
	"encoding/xml"
	"errors"
	"io"
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
