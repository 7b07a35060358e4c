// Package takeoff reckons what a roof takes: its panels, and for every step at every
// place the material, down to what is to be ordered. It is pure.
package takeoff

import (
	"fmt"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// Estimate is a roof reckoned by an assembly. It is never changed once made.
type Estimate struct {
	Roof, Assembly string
	Planes         []Plane
	Edges          []Edge
	// Demands are the atoms: what one step at one place takes of one material, net.
	Demands []Demand
	// Lines are the demands summed per material, ready to order.
	Lines []Line

	extents map[extent]quantity.Amount
}

type extent struct {
	place events.Place
	step  events.StepID
}

// Plane is one plane and its panels in order of setting.
type Plane struct {
	Mark           events.Place
	PlanArea, Area quantity.Area
	SlopeFactor    float64
	Panels         []Panel
}

// Edge is one edge as the roof has it.
type Edge struct {
	Mark   events.Place
	Kind   string
	Length quantity.Length
	Planes []events.Place
	// Drains is the plan area whose water comes to it.
	Drains quantity.Area
}

// Panel is one sheet between two seams.
type Panel struct {
	Mark  events.PieceMark
	Plane events.Place
	// Cover is the width it covers, Length what is to be cut, up to the next 1/16 in.
	Cover, Length quantity.Length
	// LowEnd and HighEnd say how the ends are cut, in words.
	LowEnd, HighEnd string
	// LowEdge and HighEdge are the edges at its ends.
	LowEdge, HighEdge events.Place
	// Area is the true area that it covers of its plane.
	Area quantity.Area
}

// Demand is the net need of one material by one step at one place.
type Demand struct {
	Place    events.Place
	Step     events.StepID
	Material events.MaterialID
	Net      quantity.Amount
	// Basis is how it was reckoned, in one sentence with the numbers in it.
	Basis string
}

// Line is one material of the order.
type Line struct {
	Material events.MaterialID
	Name     string
	// Unit is each, mm or m2.
	Unit string
	// Net is what the roof takes, Waste what is lost or left over, Order their sum in
	// whole packs.
	Net, Waste, Order quantity.Amount
	// OrderUnit is what is bought, Packs how many of it.
	OrderUnit string
	Packs     int64
	Basis     string
	Places    []events.Place
}

// Of reckons a roof by an assembly. It refuses, with an *events.Refusal that names the
// plane, a pitch flatter than the assembly allows.
func Of(r *roof.Roof, a *assembly.Assembly) (*Estimate, error) {
	e := &Estimate{Roof: r.Name, Assembly: a.Name, extents: map[extent]quantity.Amount{}}
	for i := range r.Planes {
		p := &r.Planes[i]
		if p.Pitch.Less(a.LeastPitch) {
			return nil, &events.Refusal{
				Code: "too-flat", Where: "plane " + string(p.Mark), Was: p.Pitch.String(),
				Want: fmt.Sprintf("%s or steeper for %s (%s)", a.LeastPitch, a.Name, a.LeastPitchSource),
			}
		}
		plane, err := layOut(r, p, a)
		if err != nil {
			return nil, err
		}
		e.Planes = append(e.Planes, plane)
	}
	for i := range r.Edges {
		g := &r.Edges[i]
		edge := Edge{Mark: events.Place(g.Mark), Kind: string(g.Kind), Length: g.Length, Drains: g.Drains}
		for _, p := range g.Planes {
			edge.Planes = append(edge.Planes, events.Place(p))
		}
		e.Edges = append(e.Edges, edge)
	}
	if err := e.reckon(a); err != nil {
		return nil, err
	}
	return e, nil
}

// Extent is how much of a step there is at a place: an edge's length, a plane's true
// area, or the number of its panels for the step that sets them. An empty step gives
// the place's own measure; an unknown place or step gives the zero Amount.
func (e *Estimate) Extent(place events.Place, step events.StepID) quantity.Amount {
	return e.extents[extent{place, step}]
}

// Panel finds a panel by its mark.
func (e *Estimate) Panel(mark events.PieceMark) (Panel, bool) {
	for i := range e.Planes {
		for _, p := range e.Planes[i].Panels {
			if p.Mark == mark {
				return p, true
			}
		}
	}
	return Panel{}, false
}
