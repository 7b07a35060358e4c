package roof_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"bydark/services/roof"
	"github.com/peterstace/simplefeatures/geom"
	"pgregory.net/rapid"
)

// agree allows a billionth, and the half unit of quantity.Area by which our one
// rounding moves an area.
func agree(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b)+0.5e-8+1e-12 }

// On a thousand random roofs of whole inches, plane areas, the borders that planes
// share and the area that runs to each eave agree with a general geometry library.
func TestAgreesWithAGeneralLibrary(t *testing.T) {
	t.Parallel()
	roofs := 0
	for seed := 1; roofs < 1000; seed++ {
		s := rapid.Custom(quilt).Example(seed)
		r, err := roof.Read([]byte(s.json()))
		if err != nil {
			continue // too narrow somewhere
		}
		roofs++
		check(t, seed, r)
		if seed > 5000 {
			t.Fatalf("only %d roofs in %d seeds", roofs, seed)
		}
	}
}

func check(t *testing.T, seed int, r *roof.Roof) {
	const inch2 = 0.00064516
	shapes := make(map[roof.PlaneMark]geom.Geometry)
	for i := range r.Planes {
		p := &r.Planes[i]
		rings := [][]roof.Point{p.Outline}
		for _, o := range p.Openings {
			rings = append(rings, o.Outline)
		}
		shapes[p.Mark] = wkt(t, rings)
		if want := shapes[p.Mark].Area() * inch2; !agree(p.PlanArea.SquareMetres(), want) {
			t.Errorf("seed %d: plane %s is %v m² in plan, the library says %v", seed, p.Mark, p.PlanArea.SquareMetres(), want)
		}
		if want := shapes[p.Mark].Area() * inch2 * math.Sqrt(1+p.Pitch.Slope()*p.Pitch.Slope()); !agree(p.Area.SquareMetres(), want) {
			t.Errorf("seed %d: plane %s is %v m², the library says %v", seed, p.Mark, p.Area.SquareMetres(), want)
		}
	}
	checkBorders(t, seed, r, shapes)
	checkSheds(t, seed, r)
}

// checkBorders holds the run of what two planes share, met or stepped, against the
// intersection of the library's polygons.
func checkBorders(t *testing.T, seed int, r *roof.Roof, shapes map[roof.PlaneMark]geom.Geometry) {
	shared := make(map[[2]roof.PlaneMark]float64)
	for _, e := range r.Edges {
		a, b := e.Planes[0], e.Below
		if len(e.Planes) == 2 {
			b = e.Planes[1]
		}
		if b != "" {
			shared[[2]roof.PlaneMark{min(a, b), max(a, b)}] += e.Run.Inches()
		}
	}
	for i := range r.Planes {
		for j := range i {
			a, b := r.Planes[j].Mark, r.Planes[i].Mark
			common, err := geom.Intersection(shapes[a], shapes[b])
			if err != nil {
				t.Fatal(err)
			}
			key := [2]roof.PlaneMark{min(a, b), max(a, b)}
			// Lengths are rounded to a nanometre each.
			if want := common.Length(); math.Abs(shared[key]-want) > 1e-9*want+1e-6 {
				t.Errorf("seed %d: %s and %s share %v in, the library says %v", seed, a, b, shared[key], want)
			}
		}
	}
}

// checkSheds holds the area that runs to each border of a convex plane against the
// plane's part within the strip uphill of that border.
func checkSheds(t *testing.T, seed int, r *roof.Roof) {
	for i := range r.Planes {
		p := &r.Planes[i]
		if len(p.Openings) > 0 {
			continue
		}
		have := make(map[roof.EdgeMark]float64)
		for _, d := range p.Drains {
			have[d.Edge] = d.PlanArea.SquareMetres()
		}
		dx, dy := p.Downhill()
		for _, e := range r.Edges {
			if e.Planes[0] != p.Mark && (len(e.Planes) < 2 || e.Planes[1] != p.Mark) {
				continue
			}
			want := 0.0
			if out := outwards(p, &e); out[0]*dx+out[1]*dy > 1e-6 {
				want = uphill(t, p, &e, dx, dy) * 0.00064516
			}
			if math.Abs(have[e.Mark]-want) > 1e-6 {
				t.Errorf("seed %d: plane %s sheds %v m² over %s, the library says %v", seed, p.Mark, have[e.Mark], e.Mark, want)
			}
		}
	}
}

// outwards is the direction out of the convex plane over its border e.
func outwards(p *roof.Plane, e *roof.Edge) [2]float64 {
	nx, ny := (e.To.Y - e.From.Y).Inches(), -(e.To.X - e.From.X).Inches()
	for _, q := range p.Outline {
		if side := (q.X-e.From.X).Inches()*nx + (q.Y-e.From.Y).Inches()*ny; math.Abs(side) > 1e-3 {
			if side > 0 {
				nx, ny = -nx, -ny
			}
			l := math.Hypot(nx, ny)
			return [2]float64{nx / l, ny / l}
		}
	}
	return [2]float64{}
}

// uphill is the area of the plane within the strip that runs uphill from e, in square
// inches.
func uphill(t *testing.T, p *roof.Plane, e *roof.Edge, dx, dy float64) float64 {
	const far = 2000.0
	ax, ay, bx, by := e.From.X.Inches(), e.From.Y.Inches(), e.To.X.Inches(), e.To.Y.Inches()
	g, err := geom.UnmarshalWKT(fmt.Sprintf("POLYGON((%v %v,%v %v,%v %v,%v %v,%v %v))",
		ax, ay, bx, by, bx-far*dx, by-far*dy, ax-far*dx, ay-far*dy, ax, ay))
	if err != nil {
		t.Fatal(err)
	}
	strip, err := geom.Intersection(g, wkt(t, [][]roof.Point{p.Outline}))
	if err != nil {
		t.Fatal(err)
	}
	return strip.Area()
}

// wkt hands rings to the general library, in inches.
func wkt(t *testing.T, rings [][]roof.Point) geom.Geometry {
	t.Helper()
	var parts []string
	for _, ring := range rings {
		var points []string
		for i := range len(ring) + 1 {
			p := ring[i%len(ring)]
			points = append(points, fmt.Sprintf("%v %v", p.X.Inches(), p.Y.Inches()))
		}
		parts = append(parts, "("+strings.Join(points, ",")+")")
	}
	g, err := geom.UnmarshalWKT("POLYGON(" + strings.Join(parts, ",") + ")")
	if err != nil {
		t.Fatal(err)
	}
	return g
}
