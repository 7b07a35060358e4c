package takeoff_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"

	"github.com/peterstace/simplefeatures/geom"
	"pgregory.net/rapid"
)

// A sketch is one plane in whole units, before it is written as a roof file.
type sketch struct {
	unit     quantity.Length
	ring     [][2]int64
	openings [][][2]int64
	rise     int
	quarters int // how often the fall is turned by 90 degrees from south
	turn     float64
}

func (s sketch) roof(t testing.TB) *roof.Roof {
	points := func(ring [][2]int64) string {
		var parts []string
		for _, p := range ring {
			parts = append(parts, fmt.Sprintf("[%q,%q]", (s.unit*quantity.Length(p[0])).Metric(), (s.unit*quantity.Length(p[1])).Metric()))
		}
		return "[" + strings.Join(parts, ",") + "]"
	}
	var holes []string
	for _, o := range s.openings {
		holes = append(holes, points(o))
	}
	falls := math.Mod(180+90*float64(s.quarters)+s.turn, 360)
	return read(t, fmt.Sprintf(`{"name":"sketch","planes":[{"mark":"A","outline":%s,"pitch":"%d/12","falls_deg":%v,"openings":[%s]}]}`,
		points(s.ring), s.rise, falls, strings.Join(holes, ",")))
}

// moved is the sketch scaled, turned by quarter turns to the right, or mirrored west to
// east.
func (s sketch) moved(scale int64, quarters int, mirror bool) sketch {
	move := func(ring [][2]int64) [][2]int64 {
		var out [][2]int64
		for _, p := range ring {
			x, y := p[0]*scale, p[1]*scale
			if mirror {
				x = -x
			}
			for range quarters {
				x, y = y, -x
			}
			out = append(out, [2]int64{x, y})
		}
		return out
	}
	out := s
	out.ring, out.openings = move(s.ring), nil
	for _, o := range s.openings {
		out.openings = append(out.openings, move(o))
	}
	if mirror {
		out.quarters = (4 - out.quarters) % 4
	}
	out.quarters = (out.quarters + quarters) % 4
	return out
}

// someSketch draws a plane like a comb: columns of random widths between random lines
// below and above, so that it may be concave below and above; and an opening in its
// middle.
func someSketch(t *rapid.T) sketch {
	s := sketch{unit: 3 * quantity.Inch, rise: rapid.IntRange(3, 24).Draw(t, "rise"), quarters: rapid.IntRange(0, 3).Draw(t, "quarters")}
	n := rapid.IntRange(1, 5).Draw(t, "columns")
	low, high := [][2]int64{}, [][2]int64{}
	x := int64(0)
	for range n {
		if rapid.Bool().Draw(t, "step") || len(low) == 0 {
			low = append(low, [2]int64{x, rapid.Int64Range(0, 40).Draw(t, "low")})
			high = append(high, [2]int64{x, rapid.Int64Range(60, 120).Draw(t, "high")})
		}
		x += rapid.Int64Range(4, 40).Draw(t, "width")
		low = append(low, [2]int64{x, rapid.Int64Range(0, 40).Draw(t, "low")})
		high = append(high, [2]int64{x, rapid.Int64Range(60, 120).Draw(t, "high")})
	}
	slices.Reverse(high)
	s.ring = tidy(append(low, high...))
	if rapid.Bool().Draw(t, "opening") && x >= 8 {
		w := rapid.Int64Range(2, min(x-4, 20)).Draw(t, "opening width")
		left := rapid.Int64Range(2, x-w-2).Draw(t, "opening left")
		s.openings = [][][2]int64{{{left, 44}, {left + w, 44}, {left + w, 56}, {left, 56}}}
	}
	// Turned as a whole, so that the fall stays square to the strips' eave.
	return s.moved(1, 0, false)
}

// tidy drops points that repeat the one before or lie on a line with their neighbours.
func tidy(ring [][2]int64) [][2]int64 {
	for i := 0; i < len(ring); {
		a, b, c := ring[(i+len(ring)-1)%len(ring)], ring[i], ring[(i+1)%len(ring)]
		if (b[0]-a[0])*(c[1]-a[1]) == (b[1]-a[1])*(c[0]-a[0]) {
			ring, i = slices.Delete(ring, i, i+1), 0
			continue
		}
		i++
	}
	return ring
}

func laid(t testing.TB, r *roof.Roof, a *assembly.Assembly) *takeoff.Estimate {
	t.Helper()
	e, err := takeoff.Of(r, a)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestPanelAreasAddUpToThePlane(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	rapid.Check(t, func(rt *rapid.T) {
		s := someSketch(rt)
		s.turn = rapid.SampledFrom([]float64{0, 0, 17, 45, 61.3}).Draw(rt, "turn")
		e := laid(t, s.roof(t), a)
		for _, p := range e.Planes {
			var all quantity.Area
			for _, panel := range p.Panels {
				all += panel.Area
				if panel.Cover > a.Panel.Cover || panel.Cover <= 0 || panel.Length <= 0 || panel.Length%takeoff.Rule != 0 {
					rt.Fatalf("panel %+v", panel)
				}
			}
			// A unit is a hundredth of a square millimetre; the sum is rounded once.
			if d := all - p.Area; d < -1 || d > 1 {
				rt.Fatalf("panels cover %v of %v in %+v", all, p.Area, s)
			}
		}
	})
}

// What a strip of a plane covers, how low and how high it goes: the reference clips the
// polygon with a general overlay and measures the parts.
func TestPanelsAgreeWithAGeneralGeometryLibrary(t *testing.T) {
	t.Parallel()
	// A check is a hundred roofs.
	for range 10 {
		rapid.Check(t, agreeWithLibrary(t))
	}
}

func agreeWithLibrary(t *testing.T) func(*rapid.T) {
	a := shipped(t, "flat-clip")
	return func(rt *rapid.T) {
		s := someSketch(rt)
		s.quarters = 0 // falls south, so that strips run north
		r := s.roof(t)
		e := laid(t, r, a)
		plane, factor := r.Planes[0], r.Planes[0].SlopeFactor
		whole := polygonOf(plane)
		for _, p := range e.Planes[0].Panels {
			// The overlay at times loses a panel whose slanting end lies on the plane's own
			// side to a nanometre; the rectangle round the panel has no such side, and then
			// one of the two must agree.
			first := disagreement(p, whole, polygon(p.Outline).AsGeometry(), factor)
			if first != "" && disagreement(p, whole, polygon(p.Outline).Envelope().AsGeometry(), factor) != "" {
				rt.Fatalf("panel %s: %s in %+v", p.Mark, first, s)
			}
		}
	}
}

// disagreement says in what a panel and what the library clips of the plane differ.
func disagreement(p takeoff.Panel, whole geom.Polygon, clip geom.Geometry, factor float64) string {
	covered, err := geom.Intersection(whole.AsGeometry(), clip)
	if err != nil {
		return err.Error()
	}
	want := covered.Area() * factor
	if got := p.Area.SquareMetres(); math.Abs(got-want) > 1e-9*want+2e-8 {
		return fmt.Sprintf("it covers %v m2, the library says %v", got, want)
	}
	low, high, ok := covered.Envelope().MinMaxXYs()
	if !ok {
		return "the library says that it covers nothing"
	}
	first, _, _ := whole.Envelope().MinMaxXYs()
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"low", p.Low.Metres(), (low.Y - first.Y) * factor}, {"high", p.High.Metres(), (high.Y - first.Y) * factor},
		{"cover", p.Cover.Metres(), high.X - low.X},
	} {
		if math.Abs(c.got-c.want) > 1e-9*math.Abs(c.want)+3e-9 {
			return fmt.Sprintf("%s is %v, the library says %v", c.what, c.got, c.want)
		}
	}
	return ""
}

func polygon(points []roof.Point) geom.Polygon {
	var xy []float64
	for _, p := range append(slices.Clone(points), points[0]) {
		xy = append(xy, p.X.Metres(), p.Y.Metres())
	}
	return geom.NewPolygon([]geom.LineString{geom.NewLineString(geom.NewSequence(xy, geom.DimXY))})
}

func polygonOf(p roof.Plane) geom.Polygon {
	rings := []geom.LineString{polygon(p.Outline).ExteriorRing()}
	for _, o := range p.Openings {
		rings = append(rings, polygon(o.Outline).ExteriorRing())
	}
	return geom.NewPolygon(rings)
}

// The flashing of an opening goes round it once, its apron and head as wide as it is.
func TestFlashingGoesRoundTheOpening(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	rapid.Check(t, func(rt *rapid.T) {
		s := someSketch(rt)
		r := s.roof(t)
		e := laid(t, r, a)
		for i, o := range e.Openings {
			hole := r.Planes[0].Openings[i]
			if d := o.Apron + o.Sides + o.Head - o.Round; o.Round != hole.Perimeter || d != 0 {
				rt.Fatalf("%+v, the hole is %v round", o, hole.Perimeter)
			}
			if s.turn == 0 && (o.Apron != o.Width || o.Head != o.Width || o.Above <= 0) {
				rt.Fatalf("%+v is as wide as neither apron nor head", o)
			}
			for _, step := range e.StepsAt(o.Mark) {
				if got := e.Extent(o.Mark, step.ID); got.Sign() <= 0 {
					rt.Fatalf("step %s of %s has %v", step.ID, o.Mark, got)
				}
			}
		}
	})
}

// A panel is what its ends enclose, without what is cut out of it.
func TestCutoutsAreWhatAPanelLacksOfItsOutline(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	rapid.Check(t, func(rt *rapid.T) {
		r := someSketch(rt).roof(t)
		e := laid(t, r, a)
		for _, p := range e.Planes[0].Panels {
			if slices.ContainsFunc(p.Cutouts, func(c takeoff.Cutout) bool { return !strings.Contains(string(c.Place), "/opening") }) {
				continue // where the border comes in it may slant, and the box is larger
			}
			want := polygon(p.Outline).Area() * r.Planes[0].SlopeFactor
			for _, c := range p.Cutouts {
				want -= (c.Right - c.Left).Metres() * (c.High - c.Low).Metres()
			}
			if got := p.Area.SquareMetres(); math.Abs(got-want) > 1e-6 {
				rt.Fatalf("panel %s covers %v m2, its outline without its cutouts %v: %+v", p.Mark, got, want, p.Cutouts)
			}
		}
	})
}

func TestTurningAndMirroringChangesNoQuantity(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	rapid.Check(t, func(rt *rapid.T) {
		s := someSketch(rt)
		s.quarters = 0
		quarters, mirror := rapid.IntRange(0, 3).Draw(rt, "turned"), rapid.Bool().Draw(rt, "mirrored")
		first := laid(t, s.roof(t), a)
		now := laid(t, s.moved(1, quarters, mirror).roof(t), a)
		if x, y := quantities(first), quantities(now); x != y {
			rt.Fatalf("%+v\nfirst %s\nturned by %d, mirrored %v\nnow   %s", s, x, quarters, mirror, y)
		}
	})
}

func quantities(e *takeoff.Estimate) string {
	var b strings.Builder
	for _, l := range e.Lines {
		fmt.Fprintf(&b, "%s net %v order %d; ", l.Material, rounded(l.Net), l.Packs)
	}
	for _, p := range e.Planes {
		for _, panel := range p.Panels {
			fmt.Fprintf(&b, "%v ", panel.Length)
		}
	}
	return b.String()
}

// rounded takes the last digits of lengths and areas off, in which a turned roof may
// differ, since each edge is rounded once.
func rounded(a quantity.Amount) string {
	switch a.Kind() {
	case quantity.Lengthwise:
		return fmt.Sprintf("%.4f mm", a.Plain())
	case quantity.Areal:
		return fmt.Sprintf("%.5f m2", a.Plain())
	}
	return a.String()
}

func TestScalingScales(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	rapid.Check(t, func(rt *rapid.T) {
		s := someSketch(rt)
		k := rapid.Int64Range(2, 4).Draw(rt, "scale")
		first := laid(t, s.roof(t), a).Planes[0]
		now := laid(t, s.moved(k, 0, false).roof(t), a).Planes[0]
		if d := float64(now.Area) - float64(k*k)*float64(first.Area); math.Abs(d) > float64(k*k) {
			rt.Fatalf("area %v became %v, scaled by %d", first.Area, now.Area, k)
		}
		if d := now.Height - quantity.Length(k)*first.Height; d.Abs() > quantity.Length(k) {
			rt.Fatalf("height %v became %v, scaled by %d", first.Height, now.Height, k)
		}
	})
}

// A plane cut in two along a line between two strips takes the same panels.
func TestSplittingAlongAStripLineChangesNoPanel(t *testing.T) {
	t.Parallel()
	a := shipped(t, "flat-clip")
	rapid.Check(t, func(rt *rapid.T) {
		left, right := rapid.Int64Range(1, 20).Draw(rt, "left"), rapid.Int64Range(1, 20).Draw(rt, "right")
		low, high := rapid.Int64Range(0, 20).Draw(rt, "low"), rapid.Int64Range(30, 60).Draw(rt, "high")
		cover := int64(a.Panel.Cover / quantity.Inch)
		doc := func(from, to int64) string {
			// A top that rises and falls with the strips keeps the line between exact.
			top := func(x int64) int64 { return high*12 + x/cover }
			return fmt.Sprintf(`"outline":[["%d in","%d in"],["%d in","%d in"],["%d in","%d in"],["%d in","%d in"]],"pitch":"5/12","falls_deg":180`,
				from*cover, low, to*cover, low, to*cover, top(to*cover), from*cover, top(from*cover))
		}
		whole := laid(t, read(t, `{"name":"whole","planes":[{"mark":"A",`+doc(0, left+right)+`}]}`), a)
		starts := map[roof.PlaneMark]takeoff.Start{"A": {From: takeoff.FromLeft}, "B": {From: takeoff.FromLeft}}
		one, err := takeoff.Laid(read(t, `{"name":"one","planes":[{"mark":"A",`+doc(0, left)+`}]}`), a, takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"A": starts["A"]}})
		if err != nil {
			rt.Fatal(err)
		}
		two, err := takeoff.Laid(read(t, `{"name":"two","planes":[{"mark":"B",`+doc(left, left+right)+`}]}`), a, takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"B": starts["B"]}})
		if err != nil {
			rt.Fatal(err)
		}
		var parts []takeoff.Panel
		parts = append(append(parts, one.Planes[0].Panels...), two.Planes[0].Panels...)
		panels := slices.Clone(whole.Planes[0].Panels)
		if whole.Planes[0].Start == takeoff.FromRight {
			slices.Reverse(panels)
		}
		if len(parts) != len(panels) {
			rt.Fatalf("%d panels became %d", len(panels), len(parts))
		}
		for i, p := range panels {
			if q := parts[i]; p.Length != q.Length || p.Cover != q.Cover || p.HighEnd != q.HighEnd {
				rt.Fatalf("panel %+v became %+v", p, q)
			}
		}
	})
}
