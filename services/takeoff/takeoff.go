// Package takeoff reckons what a roof takes: its panels, and for every step at every
// place the material, down to what is to be ordered.
//
// It is pure. Lengths, areas and amounts are whole numbers of a small unit; geometry on a
// plane is reckoned in floating point, in nanometres, and rounded once.
package takeoff

import (
	"fmt"
	"math"
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// Estimate is a roof reckoned by an assembly. It is never changed once made, and any
// number of goroutines may read it.
type Estimate struct {
	Roof, Assembly string
	Planes         []Plane
	Edges          []Edge
	// Demands are the atoms: what one step at one place takes of one material.
	Demands []Demand
	// Lines are the demands summed per material, ready to order, in the assembly's order
	// of materials.
	Lines []Line
	// Notes are what the reckoning leaves to people, each in words.
	Notes []string

	layout  Layout
	extents map[extent]quantity.Amount
	cut     cutter                    // scratch, used while the estimate is made
	at      map[events.Place][]*Panel // the panels that end at each edge
}

type extent struct {
	place events.Place
	step  events.StepID
}

// Edge is one edge as the roof has it.
type Edge struct {
	Mark   events.Place
	Kind   string
	Length quantity.Length
	Planes []events.Place
	// Sheds is the plan area whose rain leaves its own plane over this edge: over all
	// edges it adds up to the roof's plan area. Drains is all the plan area whose water
	// comes to it, also from planes above.
	Sheds, Drains quantity.Area
}

// Of reckons a roof by an assembly, its layout left to the rules. Errors are
// *events.Refusal as Laid's.
func Of(r *roof.Roof, a *assembly.Assembly) (*Estimate, error) { return Laid(r, a, Layout{}) }

// Laid reckons a roof by an assembly and a chosen layout. It refuses, with an
// *events.Refusal that names plane and point, a pitch flatter than the assembly's least,
// strips without a width, a plane that takes more than MostPanels, a panel longer than
// its coil, and a layout that names what is not there.
func Laid(r *roof.Roof, a *assembly.Assembly, plan Layout) (*Estimate, error) {
	if err := plan.check(r, a); err != nil {
		return nil, err
	}
	e := &Estimate{Roof: r.Name, Assembly: a.Name, layout: plan, extents: map[extent]quantity.Amount{}}
	for i := range r.Planes {
		p := &r.Planes[i]
		// Bounds from both sides, so that what is no number is refused too.
		if p.Pitch.Less(a.LeastPitch) || !(p.SlopeFactor >= 1 && p.SlopeFactor < math.MaxInt32) {
			return nil, &events.Refusal{
				Code: "too-flat", Where: fmt.Sprintf("plane %s, point 1 (%s, %s)", p.Mark, p.Outline[0].X, p.Outline[0].Y), Was: p.Pitch.String(),
				Want: fmt.Sprintf("%s or steeper for %s (%s)", a.LeastPitch, a.Name, a.LeastPitchSource),
			}
		}
		plane, err := layOut(&e.cut, r, p, a, plan)
		if err != nil {
			return nil, err
		}
		e.Planes = append(e.Planes, plane)
		for k := range p.Openings {
			o := &p.Openings[k]
			e.Notes = append(e.Notes, fmt.Sprintf("Opening %s is %s round: its flashing kit is in no step of the assembly, order it beside these lines.", o.Mark, o.Perimeter.Nearest(16)))
		}
	}
	for i := range r.Edges {
		g := &r.Edges[i]
		edge := Edge{Mark: events.Place(g.Mark), Kind: string(g.Kind), Length: g.Length, Sheds: g.Sheds, Drains: g.Drains}
		for _, p := range g.Planes {
			edge.Planes = append(edge.Planes, events.Place(p))
		}
		e.Edges = append(e.Edges, edge)
	}
	e.reckon(a)
	if err := e.order(a); err != nil {
		return nil, err
	}
	e.cut = cutter{}
	return e, nil
}

// reckon fills extents and demands.
func (e *Estimate) reckon(a *assembly.Assembly) {
	e.Demands = make([]Demand, 0, 8*(len(e.Planes)+len(e.Edges)))
	for i := range e.Planes {
		p := &e.Planes[i]
		e.extents[extent{p.Mark, ""}] = quantity.OfArea(p.Area)
		for k := range a.Plane {
			s := &a.Plane[k]
			e.extents[extent{p.Mark, s.ID}] = quantity.OfArea(p.Area)
			if s.Kind == assembly.Panels {
				e.extents[extent{p.Mark, s.ID}] = quantity.Pieces(int64(len(p.Panels)))
			}
			for _, u := range s.Uses {
				if n, ok := e.onPlane(a, p, u); ok {
					e.demand(p.Mark, s.ID, u.Material, n)
				}
			}
		}
	}
	for i := range e.Edges {
		g := &e.Edges[i]
		e.extents[extent{g.Mark, ""}] = quantity.OfLength(g.Length)
		steps := a.Steps(g.Kind)
		for k := range steps {
			s := &steps[k]
			e.extents[extent{g.Mark, s.ID}] = quantity.OfLength(g.Length)
			for _, u := range s.Uses {
				if n, ok := e.atEdge(a, g, u); ok {
					e.demand(g.Mark, s.ID, u.Material, n)
				}
			}
		}
	}
}

// Extent is how much of a step there is at a place: an edge's length, a plane's true
// area, or the number of its panels for the step that sets them. It is what a report
// without an amount means when nothing was done before. An empty step gives the place's
// own measure; an unknown place or step gives the zero Amount.
func (e *Estimate) Extent(place events.Place, step events.StepID) quantity.Amount {
	return e.extents[extent{place, step}]
}

// Panel finds a panel by its mark.
func (e *Estimate) Panel(mark events.PieceMark) (Panel, bool) {
	for i := range e.Planes {
		if k := slices.IndexFunc(e.Planes[i].Panels, func(p Panel) bool { return p.Mark == mark }); k >= 0 {
			return e.Planes[i].Panels[k], true
		}
	}
	return Panel{}, false
}
