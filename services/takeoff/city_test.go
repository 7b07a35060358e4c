package takeoff_test

import (
	"os"
	"path/filepath"
	"testing"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

// Real roofs from open city models (testdata/roofs, licences there): panels cover every
// plane, end somewhere, whether or not other planes of the roof are too flat, and nothing but a flat roof or an endless one is turned away.
func TestRealRoofs(t *testing.T) {
	t.Parallel()
	a := shipped(t, "raised-clip-purlins")
	files, err := filepath.Glob("../../testdata/roofs/*.city.json*")
	if err != nil || len(files) == 0 {
		t.Fatalf("%v, %d files", err, len(files))
	}
	laid, partly, turnedAway, panels := 0, 0, map[string]int{}, 0
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		buildings, err := roof.CityBuildings(data)
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		for _, b := range buildings {
			if b.Roof == nil {
				continue
			}
			e, err := takeoff.Partly(b.Roof, a, takeoff.Layout{})
			if err != nil {
				r := events.RefusalIn(err)
				if r == nil || r.Code != "too-flat" {
					t.Errorf("%s, building %s: %v", file, b.ID, err)
					continue
				}
				turnedAway[r.Code]++
				continue
			}
			if len(e.TooFlat) > 0 {
				partly++
			} else {
				laid++
			}
			for _, p := range e.Planes {
				var all quantity.Area
				for _, panel := range p.Panels {
					all += panel.Area
					panels++
					if panel.LowEdge == "" || panel.HighEdge == "" {
						t.Errorf("%s, building %s, panel %s ends at %q and %q", file, b.ID, panel.Mark, panel.LowEdge, panel.HighEdge)
					}
				}
				if d := (all - p.Area).SquareMetres(); d > 1e-6 || d < -1e-6 {
					t.Errorf("%s, building %s, plane %s: panels cover %v of %v", file, b.ID, p.Mark, all, p.Area)
				}
			}
			if len(e.TooFlat) == 0 {
				checkAgain(t, b.Roof)
			}
		}
	}
	t.Logf("%d roofs laid whole and %d in part with %d panels, turned away: %v", laid, partly, panels, turnedAway)
	if laid < 20 {
		t.Errorf("only %d roofs could be laid", laid)
	}
}

// checkAgain measures every edge as drawn: nothing moves, nothing contradicts.
func checkAgain(t *testing.T, r *roof.Roof) {
	var measures []events.MeasureTaken
	for i := range r.Edges {
		if len(r.Edges) > 60 {
			return
		}
		measures = append(measures, taken(events.Place(r.Edges[i].Mark), events.OfLength, events.Reading(r.Edges[i].Length.Metric())))
	}
	m, err := takeoff.Remeasure(r, measures)
	if err != nil {
		t.Errorf("%s: %v", r.Name, err)
		return
	}
	for _, c := range m.Contradictions {
		t.Errorf("%s measured as drawn: %s", r.Name, c.Words)
		return
	}
}
