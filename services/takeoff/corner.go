package takeoff

import (
	"math"

	"bydark/services/roof"
)

// corners finds at which ends of edges the trim is folded round an outside corner.
type corners struct {
	planes []*roof.Plane
	boxes  [][2]roof.Point // each plane's low and high corner
}

func cornersOf(r *roof.Roof) *corners {
	c := new(corners)
	for i := range r.Planes {
		p := &r.Planes[i]
		low, high := p.Outline[0], p.Outline[0]
		for _, q := range p.Outline {
			low = roof.Point{X: min(low.X, q.X), Y: min(low.Y, q.Y)}
			high = roof.Point{X: max(high.X, q.X), Y: max(high.Y, q.Y)}
		}
		c.planes, c.boxes = append(c.planes, p), append(c.boxes, [2]roof.Point{low, high})
	}
	return c
}

// straightOn is how far, in radians, a border may bend and still run straight on.
const straightOn = math.Pi / 180

// at counts the ends of an edge, none to two, that stand at an outside corner: of a free
// edge, where the roof about it takes less than half the circle; of one that two planes
// share, where it comes out at a border that is no inside corner, as a ridge does at a
// gable and a hip at the eaves.
func (c *corners) at(e *roof.Edge) int {
	n := 0
	most := math.Pi - straightOn
	if !e.IsFree() {
		most = math.Pi + straightOn
	}
	for _, end := range [2]struct {
		at     roof.Point
		height float64
	}{{e.From, float64(e.FromHeight)}, {e.To, float64(e.ToHeight)}} {
		if about := c.about(end.at, end.height); about > 0 && about < most {
			n++
		}
	}
	return n
}

// about is how much of the circle about a point, in plan, the planes take that pass there
// at its height. It is zero for a point on no outline.
func (c *corners) about(q roof.Point, height float64) float64 {
	const near = 3 * roof.Touch
	sum := 0.0
	for i, p := range c.planes {
		low, high := c.boxes[i][0], c.boxes[i][1]
		if q.X < low.X-near || q.X > high.X+near || q.Y < low.Y-near || q.Y > high.Y+near ||
			math.Abs(float64(p.Height(q))-height) > float64(roof.Step) {
			continue
		}
		sum += angleAt(p.Outline, q, float64(near))
	}
	return sum
}

// angleAt is the angle inside an outline, which runs counterclockwise, at a point on it;
// zero for a point that is not on it.
func angleAt(ring []roof.Point, q roof.Point, near float64) float64 {
	for i, b := range ring {
		if length(q, b) <= near {
			a, c := ring[(i+len(ring)-1)%len(ring)], ring[(i+1)%len(ring)]
			out := math.Atan2(float64(c.Y-b.Y), float64(c.X-b.X))
			in := math.Atan2(float64(a.Y-b.Y), float64(a.X-b.X))
			return math.Mod(in-out+4*math.Pi, 2*math.Pi)
		}
	}
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		dx, dy := unit(a, b)
		x, y := float64(q.X-a.X), float64(q.Y-a.Y)
		if along := x*dx + y*dy; along > 0 && along < length(a, b) && math.Abs(x*dy-y*dx) <= near {
			return math.Pi
		}
	}
	return 0
}
