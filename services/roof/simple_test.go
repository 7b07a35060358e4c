package roof_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// A roof said in words is the one that geometry knows: its kinds of edges counted, its area
// the plan's times the slope factor.
func TestSimpleRoofs(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		inches := rapid.Custom(func(t *rapid.T) quantity.Length {
			return quantity.Length(rapid.IntRange(64*60, 64*2000).Draw(t, "64ths")) * (quantity.Inch / 64)
		})
		s := roof.Simple{
			Name: "Any", Shape: rapid.SampledFrom(roof.Shapes()).Draw(t, "shape"), Along: inches.Draw(t, "along"), Across: inches.Draw(t, "across"),
			Pitch: rapid.SampledFrom([]string{"2/12", "6/12", "12/12"}).Draw(t, "pitch"), Faces: rapid.SampledFrom(roof.Facings()).Draw(t, "faces"), EaveHeight: 10 * quantity.Foot,
		}
		if rapid.Bool().Draw(t, "square") {
			s.Across = s.Along
		}
		file, err := s.File()
		if err != nil {
			t.Fatal(err)
		}
		r, err := roof.Read(file)
		if nearly := (s.Along - s.Across).Abs(); err != nil && s.Shape == roof.HipRoof && nearly > 0 && nearly < roof.Clearance {
			return // its ridge is shorter than anything drawn may be
		}
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		kinds := map[roof.Kind]int{}
		for _, e := range r.Edges {
			kinds[e.Kind]++
		}
		want := map[roof.Shape]map[roof.Kind]int{
			roof.ShedRoof:  {roof.Eave: 1, roof.Rake: 2},
			roof.GableRoof: {roof.Eave: 2, roof.Rake: 4, roof.Ridge: 1},
			roof.HipRoof:   {roof.Eave: 4, roof.Hip: 4, roof.Ridge: 1},
		}[s.Shape]
		for kind, n := range want {
			if kind == roof.Ridge && s.Shape == roof.HipRoof && (s.Along-s.Across).Abs() < 2*quantity.Inch {
				continue // a pyramid, or nearly one
			}
			if kinds[kind] != n {
				t.Fatalf("%s: %d %s, want %d, of %v", file, kinds[kind], kind, n, kinds)
			}
		}
		area := r.Area().SquareMetres()
		rise := map[string]float64{"2/12": 2, "6/12": 6, "12/12": 12}[s.Pitch] / 12
		if plan := s.Along.Metres() * s.Across.Metres(); math.Abs(area-plan*math.Hypot(1, rise)) > 1e-4*area {
			t.Fatalf("%s: %g m2, want %g", file, area, plan*math.Hypot(1, rise))
		}
	})
	for _, s := range []roof.Simple{{Shape: "dome", Along: 1, Across: 1, Faces: "south"}, {Shape: roof.HipRoof, Along: 1, Across: 0, Faces: "south"}, {Shape: roof.HipRoof, Across: 1, Faces: "south"}, {Shape: roof.HipRoof, Along: 1, Across: 1, Faces: "up"}} {
		if file, err := s.File(); err == nil {
			t.Errorf("%+v gave %s", s, file)
		}
	}
}
