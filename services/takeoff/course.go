package takeoff

import (
	"fmt"
	"math"

	"bydark/events/quantity"
	"bydark/services/assembly"
)

// courses is a layer laid in courses from the bottom up, each lapping the one below.
type courses struct {
	count  int
	length quantity.Length // of all courses together
	area   quantity.Area   // of the roll, its end laps with it
	joins  int64
}

// courses lays a layer over a plane: each is as long as the plane is wide where the course lies,
// its last one as wide as the others, and for each roll that runs out an end lap.
func (k *cutter) courses(p *Plane, m *assembly.Material, u assembly.Use) courses {
	turned := make([]side, len(p.sides))
	low, high := math.Inf(1), math.Inf(-1)
	for i, s := range p.sides {
		turned[i] = sideOf(spot{s.a.v, s.a.u}, spot{s.b.v, s.b.u}, s.place, s.kind)
		low, high = min(low, turned[i].a.u), max(high, turned[i].b.u)
	}
	var c courses
	var length float64
	exposure := float64(m.Width - u.SideLap)
	for bottom := low; c.count == 0 || high-bottom > float64(u.SideLap)+hair; bottom += exposure {
		top := min(bottom+float64(m.Width), high)
		for _, sheet := range k.slabs(turned, bottom, top) {
			left, right := math.Inf(1), math.Inf(-1)
			for i := range sheet {
				left = min(left, sheet[i].lowLeft, sheet[i].lowRight)
				right = max(right, sheet[i].highLeft, sheet[i].highRight)
			}
			length += right - left
		}
		c.count++
	}
	c.length = nanometres(length)
	c.joins = joins(c.length, rollLength(m), u.EndLap)
	c.area = rectangle(c.length+quantity.Length(c.joins)*u.EndLap, m.Width)
	return c
}

// rollLength is how long the material's roll is; zero when it is not bought in rolls.
func rollLength(m *assembly.Material) quantity.Length {
	if m.Width <= 0 || m.Pack.Noun == "" {
		return 0
	}
	return nanometres(float64(m.Pack.Holds.Area()) * 1e10 / float64(m.Width))
}

// joins is how often a roll runs out along a length: every roll after the first begins
// with a lap.
func joins(length, roll, lap quantity.Length) int64 {
	if roll <= lap {
		return 0
	}
	return pieces(length, roll, lap) - 1
}

// rectangle is an area that fits: what is reckoned here lies within a roof's reach.
func rectangle(a, b quantity.Length) quantity.Area {
	area, ok := quantity.Rectangle(a, b)
	if !ok {
		panic(fmt.Sprintf("takeoff: %s by %s does not fit an area", a, b))
	}
	return area
}

// insideWall is how far an ice barrier reaches inside the exterior wall line at least
// (IRC R905.1.2), and steepReach how far up the slope from the eave edge at least on
// slopes of 8/12 and steeper (IRC R905.1.2, editions since 2018).
const (
	insideWall = 24 * quantity.Inch
	steepReach = 36 * quantity.Inch
)

// IceReach is how far up the slope an ice barrier reaches from the eave edge: over the
// overhang, the wall and 24 in inside it, all in plan, times the slope factor; at least
// 36 in from 8/12 on (IRC R905.1.2). The local code decides whether there is one.
func IceReach(slopeFactor float64, overhang, wall quantity.Length) quantity.Length {
	reach := nanometres(float64(overhang+wall+insideWall) * slopeFactor)
	if slopeFactor >= math.Hypot(1, 8.0/12) {
		reach = max(reach, steepReach)
	}
	return reach
}

// iceCourses is how many courses of a width, lapped, cover a reach.
func iceCourses(reach, width, lap quantity.Length) int64 {
	return pieces(reach, width, lap)
}
