package night

import (
	"math"
	"os"
	"testing"

	"bydark/events"
	"bydark/services/roof"

	"pgregory.net/rapid"
)

// What goes in anywhere and what leaves is the rain on the roof, whatever each place takes;
// and where nothing takes any, what comes to each edge is what the geometry says.
func TestLeadConservesWater(t *testing.T) {
	t.Parallel()
	var roofs []*roof.Roof
	for _, name := range []string{"../../cmd/bydark/demo/orchard-ell.json", "../../cmd/bydark/demo/chapel-shed.json", "testdata/tiers.json"} {
		doc, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		r, err := roof.Read(doc)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		roofs = append(roofs, r)
	}
	for _, r := range roofs {
		f := streams{roof: r, takes: taking{}}
		f.build()
		for _, e := range r.Edges {
			if got := f.to(e.Mark); math.Abs(got-e.Drains.SquareMetres()) > 1e-9 {
				t.Errorf("%s, %s: %g m² come, the geometry says %g", r.Name, e.Mark, got, e.Drains.SquareMetres())
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.SampledFrom(roofs).Draw(t, "roof")
		takes := taking{}
		share := func(mark string) {
			if rapid.Bool().Draw(t, mark+" takes") {
				takes[events.Place(mark)] = rapid.Float64Range(0, 1).Draw(t, mark)
			}
		}
		for _, p := range r.Planes {
			share(string(p.Mark))
		}
		for _, e := range r.Edges {
			share(string(e.Mark))
		}
		in := lead(r, takes)
		sum := in.leaving
		for _, m := range []map[events.Place]float64{in.direct, in.runoff} {
			for where, area := range m {
				if area < 0 || takes[where] == 0 && area != 0 {
					t.Fatalf("%s takes %g m² of a share of %g", where, area, takes[where])
				}
				sum += area
			}
		}
		if whole := r.PlanArea().SquareMetres(); math.Abs(sum-whole) > 1e-9*whole {
			t.Fatalf("%s: %g m² of %g", r.Name, sum, whole)
		}
	})
}
