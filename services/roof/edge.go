package roof

import "bydark/events/quantity"

// Kind is what an edge is, which decides the steps that close it.
type Kind string

// The kinds. A free high edge, as of a roof of one plane, is a ridge with one plane,
// since it is closed with a ridge's steps, until the roof file overrules it to a wall.
const (
	// Eave is a free edge over which the plane's water leaves: its plan direction is
	// within 45 degrees of level on the plane.
	Eave Kind = "eave"
	// Rake is a free edge up the slope.
	Rake Kind = "rake"
	// Ridge is a level edge from which both planes fall away, or a free high edge.
	Ridge Kind = "ridge"
	// Hip is a sloping edge at which two planes bend outwards.
	Hip Kind = "hip"
	// Valley is an edge to which both planes fall, or a sloping one at which they bend
	// inwards.
	Valley Kind = "valley"
	// Wall is where something rises from the plane's border: a higher plane, or what
	// the roof file says.
	Wall Kind = "wall"
	// Break is where the pitch changes and water runs on from one plane to the next.
	Break Kind = "break"
)

// kinds lists every kind, in the order in which edges are listed.
var kinds = []Kind{Eave, Rake, Ridge, Hip, Valley, Wall, Break}

// IsKind tells whether k is one of the kinds.
func (k Kind) IsKind() bool {
	for _, one := range kinds {
		if k == one {
			return true
		}
	}
	return false
}

// Edge is one straight border of one plane, or where two planes meet.
type Edge struct {
	Mark EdgeMark
	Kind Kind
	// Planes are the one or two planes that meet here, by mark.
	Planes []PlaneMark
	// From is the lower end; of a level edge the one further west, or else south.
	From, To Point
	// FromHeight and ToHeight are the plane's heights there, or the mean of both
	// planes', which differ by no more than Step.
	FromHeight, ToHeight quantity.Length
	// Length is the true length, Run its length in plan.
	Length, Run quantity.Length
	// FacingDeg is the compass bearing that the outside of a free edge faces, from 0 up
	// to, not with, 360. It means nothing where two planes meet.
	FacingDeg float64
	// Below is, of a free edge that stands over another plane, that plane; Above is, of
	// a wall with a plane on top of it, that plane.
	Below, Above PlaneMark
	// Sheds is the plan area whose rain leaves its own plane over this edge: over all
	// edges it adds up to the roof's plan area exactly.
	Sheds quantity.Area
	// Drains is all the plan area whose water comes to this edge, from its own planes
	// and from those above whose water runs on over breaks, steps and valleys.
	Drains quantity.Area
	// Leaves is the part of Drains that leaves the roof here: over an eave, or at a
	// valley's low end. Over all edges it too adds up to the roof's plan area exactly.
	Leaves quantity.Area
	// Runs is the rest of Drains: where it runs on. With Leaves it adds up to Drains
	// exactly.
	Runs []Run
}

// Run is water that has come to an edge and runs on to another one.
type Run struct {
	// Over is the plane that it crosses; empty where it stays in valleys.
	Over PlaneMark
	To   EdgeMark
	// PlanArea is the plan area whose rain it is.
	PlanArea quantity.Area
}

// IsFree tells whether only one plane ends here.
func (e *Edge) IsFree() bool { return len(e.Planes) == 1 }
