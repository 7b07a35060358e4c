package roof_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
	"pgregory.net/rapid"
)

// What falls on the roof leaves it, to the last hundredth of a square millimetre.
func TestWaterIsConserved(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, r := anyRoof(t)
		var sheds, leaves quantity.Area
		for _, e := range r.Edges {
			sheds, leaves = sheds+e.Sheds, leaves+e.Leaves
			if e.Leaves < 0 || e.Leaves > e.Drains || e.Drains < e.Sheds {
				t.Fatalf("%s sheds %v, drains %v, leaves %v\n%s", e.Mark, e.Sheds, e.Drains, e.Leaves, s.json())
			}
		}
		comes := make(map[roof.EdgeMark]quantity.Area)
		for _, e := range r.Edges {
			goes := e.Leaves
			for _, on := range e.Runs {
				comes[on.To] += on.PlanArea
				goes += on.PlanArea
				if _, ok := r.Plane(on.Over); !ok && on.Over != "" {
					t.Fatalf("%s runs on over %q\n%s", e.Mark, on.Over, s.json())
				}
			}
			if goes != e.Drains {
				t.Fatalf("%s drains %v, %v goes on or leaves\n%s", e.Mark, e.Drains, goes, s.json())
			}
		}
		for _, e := range r.Edges {
			if e.Sheds+comes[e.Mark] != e.Drains {
				t.Fatalf("%s drains %v, sheds %v and %v comes\n%s", e.Mark, e.Drains, e.Sheds, comes[e.Mark], s.json())
			}
		}
		if whole := r.PlanArea(); sheds != whole || leaves != whole {
			t.Fatalf("the roof is %v, its edges shed %v, %v leaves\n%s\n%s", whole, sheds, leaves, s.json(), summary(r))
		}
		for _, p := range r.Planes {
			var sum quantity.Area
			for _, d := range p.Drains {
				sum += d.PlanArea
			}
			if sum != p.PlanArea {
				t.Fatalf("plane %s of %v drains %v\n%s", p.Mark, p.PlanArea, sum, s.json())
			}
		}
	})
}

// Every plane's border is covered by edges once.
func TestEdgesCoverBorders(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, r := anyRoof(t)
		have := make(map[roof.PlaneMark]float64)
		for _, e := range r.Edges {
			for _, p := range e.Planes {
				have[p] += e.Run.Metres()
			}
		}
		for _, p := range r.Planes {
			want := 0.0
			for i, a := range p.Outline {
				b := p.Outline[(i+1)%len(p.Outline)]
				want += math.Hypot((b.X - a.X).Metres(), (b.Y - a.Y).Metres())
			}
			if math.Abs(have[p.Mark]-want) > 1e-5 {
				t.Fatalf("plane %s has %g m of border and %g m of edges\n%s\n%s", p.Mark, want, have[p.Mark], s.json(), summary(r))
			}
		}
	})
}

// shape tells kinds, lengths and water of a roof whatever its marks.
func shape(r *roof.Roof) []string {
	var out []string
	for _, e := range r.Edges {
		planes := slices.Sorted(slices.Values(e.Planes))
		out = append(out, fmt.Sprintf("%s %v %v %v %v %v %v", e.Kind, planes, e.Below, e.Above, e.Length, e.Run, e.Drains))
	}
	for _, p := range r.Planes {
		out = append(out, fmt.Sprintf("%s %v %v %v", p.Mark, p.PlanArea, p.Area, p.EaveHeight))
	}
	slices.Sort(out)
	return out
}

func TestTurningAndMirroringChangesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := quilt(t)
		for i := range s.planes {
			s.planes[i].hasEave = true // what hangs on two neighbours alike is settled by place
		}
		r, err := roof.Read([]byte(s.json()))
		if err != nil {
			t.Skip("refused")
		}
		turned := s.turn(rapid.IntRange(0, 3).Draw(t, "quarters"), rapid.Bool().Draw(t, "mirror"))
		again, err := roof.Read([]byte(turned.json()))
		if err != nil {
			t.Fatal(err)
		}
		near(t, r, again, s)
	})
}

// near compares two roofs up to rounding.
func near(t *rapid.T, r, again *roof.Roof, s sketch) {
	order := func(r *roof.Roof) []roof.Edge {
		edges := slices.Clone(r.Edges)
		slices.SortFunc(edges, func(a, b roof.Edge) int {
			return cmp.Or(cmp.Compare(a.Kind, b.Kind), slices.Compare(a.Planes, b.Planes), cmp.Compare(a.Above, b.Above), cmp.Compare(a.Below, b.Below),
				cmp.Compare(math.Round(a.Length.Millimetres()*100), math.Round(b.Length.Millimetres()*100)), cmp.Compare(a.Sheds, b.Sheds))
		})
		return edges
	}
	first, second := order(r), order(again)
	if len(first) != len(second) {
		t.Fatalf("%d edges became %d\n%s\n%s\n%s", len(first), len(second), s.json(), summary(r), summary(again))
	}
	// Water that runs in a ring, from wall to wall, leaves where the ring is cut, which
	// may be elsewhere after a turn.
	walled := slices.ContainsFunc(first, func(e roof.Edge) bool { return e.Above != "" })
	for i, a := range first {
		b := second[i]
		if a.Kind != b.Kind || !slices.Equal(a.Planes, b.Planes) || math.Abs((b.Length-a.Length).Metres()) > 1e-6 ||
			math.Abs((b.Sheds-a.Sheds).SquareMetres()) > 1e-4 || !walled && math.Abs((b.Drains-a.Drains).SquareMetres()) > 1e-4 {
			t.Fatalf("%+v became %+v\n%s", a, b, s.json())
		}
	}
	for i, p := range r.Planes {
		q := again.Planes[i]
		if q.PlanArea != p.PlanArea || q.Area != p.Area || (q.EaveHeight-p.EaveHeight).Abs() > quantity.Millimetre/1000 {
			t.Fatalf("plane %s of %v at %v became %v at %v\n%s", p.Mark, p.Area, p.EaveHeight, q.Area, q.EaveHeight, s.json())
		}
	}
}

// Scaled by k, lengths are k times and areas k squared times as large. Planes of
// hipped roofs meet to the nanometre, so that the height of a step does not come in.
func TestScaling(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := hipped(t)
		k := rapid.IntRange(2, 6).Draw(t, "k")
		if len(s.planes) == 0 {
			t.Skip("too small")
		}
		if s.closest() < 5*quantity.Millimetre {
			t.Skip("corners so near that they are one, and two when the roof is larger")
		}
		r, err := roof.Read([]byte(s.json()))
		if err != nil {
			t.Skip("refused")
		}
		large := s
		large.unit *= quantity.Length(k)
		again, err := roof.Read([]byte(large.json()))
		if err != nil {
			t.Fatal(err)
		}
		for i := range again.Edges {
			a, b := r.Edges[i], again.Edges[i]
			if len(r.Edges) != len(again.Edges) || a.Mark != b.Mark || math.Abs(b.Length.Metres()-float64(k)*a.Length.Metres()) > 1e-7 {
				t.Fatalf("%v\n%s\n%s", s.json(), summary(r), summary(again))
			}
		}
		for i, p := range r.Planes {
			if want := p.PlanArea * quantity.Area(k*k); math.Abs((again.Planes[i].PlanArea - want).SquareMetres()) > 1e-8*float64(k*k) {
				t.Fatalf("plane %s of %v became %v", p.Mark, p.PlanArea, again.Planes[i].PlanArea)
			}
		}
	})
}

// The order of planes in the file changes no mark.
func TestMarksDoNotFollowTheFile(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, r := anyRoof(t)
		mixed := sketch{unit: s.unit, planes: rapid.Permutation(s.planes).Draw(t, "order")}
		again, err := roof.Read([]byte(mixed.json()))
		if err != nil {
			t.Fatal(err)
		}
		if a, b := summary(r), summary(again); a != b {
			t.Fatalf("%s\nbecame\n%s\n%s", a, b, s.json())
		}
		if !slices.Equal(shape(r), shape(again)) {
			t.Fatalf("%v\nbecame\n%v", shape(r), shape(again))
		}
	})
}
