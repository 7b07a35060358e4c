// Package roof is the geometry of a roof: planes drawn in plan, each with a pitch and
// a fall, and the edges that follow from them.
//
// Plan coordinates are whole nanometres (x east, y north); plan areas, and which
// planes touch, are exact. Heights, true lengths and true areas come from one formula
// each and are rounded once. Nothing here reads a clock, a file or a dice; a *Roof is
// never changed after Read, so any number of goroutines may use it, and nobody may
// write to its slices.
package roof

import "bydark/events/quantity"

// PlaneMark names a plane, as the roof file does: "A".
type PlaneMark string

// EdgeMark names an edge by kind and number: "valley-2". Edges of a kind are numbered
// from south to north and, level with each other, from west to east, whatever the
// order of the planes in the file.
type EdgeMark string

// Roof is what a roof file says and what follows from it.
type Roof struct {
	Name   string
	Planes []Plane
	// Edges holds every shared edge once, every free edge, and of a step (one plane's
	// border above another's) both borders: a wall below, whatever it is above.
	Edges []Edge

	overrules []overrule
}

// Point is a place in plan: east and north of the roof's own origin.
type Point struct{ X, Y quantity.Length }

// Plan limits, all refused when passed.
const (
	// Reach is the furthest that a coordinate may lie from the origin.
	Reach = 10_000 * quantity.Metre
	// Touch is how near a point must come to a point or a side of another plane to
	// count as the same point or as lying on that side: a sixteenth of an inch, what a
	// tape gives when a T-junction falls on a slanting side.
	Touch = quantity.Inch / 16
	// Clearance is the least distance between two points, or a point and a side, of
	// one plane.
	Clearance = 2 * Touch
	// Step is the greatest difference in height at which two planes that touch in plan
	// still meet. Where they differ by more, there is a step with a wall in it.
	Step = 50 * quantity.Millimetre
)

// Plane gives the plane of that mark.
func (r *Roof) Plane(mark PlaneMark) (*Plane, bool) {
	for i := range r.Planes {
		if r.Planes[i].Mark == mark {
			return &r.Planes[i], true
		}
	}
	return nil, false
}

// Edge gives the edge of that mark.
func (r *Roof) Edge(mark EdgeMark) (*Edge, bool) {
	for i := range r.Edges {
		if r.Edges[i].Mark == mark {
			return &r.Edges[i], true
		}
	}
	return nil, false
}

// PlanArea is the plan area of all planes together, openings left out.
func (r *Roof) PlanArea() quantity.Area {
	var sum quantity.Area
	for i := range r.Planes {
		sum += r.Planes[i].PlanArea
	}
	return sum
}

// Area is the true area of all planes together, openings left out.
func (r *Roof) Area() quantity.Area {
	var sum quantity.Area
	for i := range r.Planes {
		sum += r.Planes[i].Area
	}
	return sum
}
