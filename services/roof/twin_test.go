package roof_test

import (
	"fmt"
	"math"
	"testing"

	"bydark/services/roof"
	"pgregory.net/rapid"
)

// star is one plane with corners at random distances all round a middle: concave as a
// rule.
func star(t *rapid.T) sketch {
	n := rapid.IntRange(4, 12).Draw(t, "corners")
	p := sketched{planMark: "A", rise: 6, falls: float64(rapid.IntRange(0, 359).Draw(t, "falls"))}
	for i := range n {
		angle := (float64(i) + 0.5*rapid.Float64Range(0, 1).Draw(t, "angle")) * 2 * math.Pi / float64(n)
		far := rapid.Float64Range(1500, 9000).Draw(t, "far")
		p.ring = append(p.ring, [2]int64{int64(far * math.Cos(angle)), int64(far * math.Sin(angle))})
	}
	return sketch{unit: 1_000_000, planes: []sketched{p}}
}

// The share of a concave plane that drains to each border is what a dumb twin finds,
// which drops a few thousand raindrops and lets each run till it meets a border.
func TestDrainsLikeRaindrops(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := star(t)
		r, err := roof.Read([]byte(s.json()))
		if err != nil {
			t.Skip("too narrow")
		}
		p := &r.Planes[0]
		const fine = 70
		dx, dy := p.Downhill()
		count, drops := make(map[roof.EdgeMark]float64), 0.0
		// The drops fall on the rectangle round the plane, so that a small one gets as
		// many as a large one.
		west, south, east, north := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
		for _, q := range p.Outline {
			west, south = min(west, q.X.Metres()), min(south, q.Y.Metres())
			east, north = max(east, q.X.Metres()), max(north, q.Y.Metres())
		}
		for i := range fine {
			for j := range fine {
				x, y := west+(east-west)*(float64(i)+0.5)/fine, south+(north-south)*(float64(j)+0.5)/fine
				// A ray that meets the border an odd number of times starts inside.
				first, met, nearest := roof.EdgeMark(""), 0, math.Inf(1)
				for _, e := range r.Edges {
					if d, ok := meets(x, y, dx, dy, &e); ok {
						met++
						if d < nearest {
							first, nearest = e.Mark, d
						}
					}
				}
				if met%2 == 1 {
					count[first]++
					drops++
				}
			}
		}
		for _, e := range r.Edges {
			share, want := float64(e.Sheds)/float64(p.PlanArea), count[e.Mark]/drops
			if math.Abs(share-want) > 0.035 {
				t.Fatalf("%s sheds %.3f of the plane, raindrops say %.3f\n%s\n%s", e.Mark, share, want, s.json(), summary(r))
			}
		}
	})
}

// meets tells how far down from x, y the stream meets the edge.
func meets(x, y, dx, dy float64, e *roof.Edge) (float64, bool) {
	ax, ay, bx, by := e.From.X.Metres()-x, e.From.Y.Metres()-y, e.To.X.Metres()-x, e.To.Y.Metres()-y
	sideA, sideB := ax*dy-ay*dx, bx*dy-by*dx
	if (sideA > 0) == (sideB > 0) {
		return 0, false
	}
	f := sideA / (sideA - sideB)
	down := (ax+f*(bx-ax))*dx + (ay+f*(by-ay))*dy
	return down, down > 0
}

func ExampleRead() {
	r, err := roof.Read([]byte(gable))
	if err != nil {
		fmt.Println(err)
		return
	}
	ridge, _ := r.Edge("ridge-1")
	fmt.Println(ridge.Length, ridge.Planes, r.PlanArea())
	// Output: 40' [A B] 1194 sqft
}
