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
	// Openings are what goes through the planes, plane by plane.
	Openings []Opening
	// Demands are the atoms: what one step at one place takes of one material.
	Demands []Demand
	// Lines are the demands summed per material, ready to order, in the assembly's order
	// of materials.
	Lines []Line
	// Checks are what must be measured or seen at each place, as the assembly asks.
	Checks []Check
	// Notes are what the reckoning leaves to people, each in words.
	Notes []string
	// TooFlat are the planes that were left out: the estimate is not of the whole roof.
	TooFlat []events.Place

	layout  Layout
	extents map[extent]quantity.Amount
	steps   map[events.Place][]assembly.Step // of openings
	cut     cutter                           // scratch, used while the estimate is made
	at      map[events.Place][]*Panel        // the panels that end at each edge
}

type extent struct {
	place events.Place
	step  events.StepID
}

// Check is one check of the assembly at one place; Place is events.WholeRoof for those of
// the roof as a whole, which belong to no step.
type Check struct {
	Place events.Place
	Step  events.StepID
	assembly.Check
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

	corners int // its ends at outside corners
}

// Of reckons a roof by an assembly, its layout left to the rules. Errors are
// *events.Refusal as Laid's.
func Of(r *roof.Roof, a *assembly.Assembly) (*Estimate, error) { return Laid(r, a, Layout{}) }

// Laid reckons a roof by an assembly and a chosen layout. It refuses, with an
// *events.Refusal that names plane and point, a pitch flatter than the assembly's least,
// strips without a width, a plane that takes more than MostPanels, a panel longer than
// its coil, and a layout that names what is not there.
func Laid(r *roof.Roof, a *assembly.Assembly, plan Layout) (*Estimate, error) {
	e, err := laid(r, a, plan)
	if err == nil && len(e.TooFlat) > 0 {
		p, _ := r.Plane(roof.PlaneMark(e.TooFlat[0]))
		return nil, tooFlat(p, a)
	}
	return e, err
}

// Partly is Laid of a roof some of whose planes are flatter than the assembly's least
// pitch: TooFlat names them, a note says so, and nothing is reckoned of them, nor of edges
// that have no other plane. What is reckoned at an edge between is for the planes that are
// not too flat. A roof that is all too flat is refused as Laid does.
func Partly(r *roof.Roof, a *assembly.Assembly, plan Layout) (*Estimate, error) {
	e, err := laid(r, a, plan)
	switch {
	case err != nil:
		return nil, err
	case len(e.TooFlat) == len(r.Planes) && len(r.Planes) > 0:
		return nil, tooFlat(&r.Planes[0], a)
	}
	for _, mark := range e.TooFlat {
		p, _ := r.Plane(roof.PlaneMark(mark))
		e.Notes = append([]string{fmt.Sprintf("INCOMPLETE: plane %s, %s of it, has a pitch of %s, and %s takes %s or steeper (%s). Nothing of it is reckoned here: it wants another roof covering.",
			mark, quantity.OfArea(p.Area).Shown(), p.Pitch, a.Name, a.LeastPitch, a.LeastPitchSource)}, e.Notes...)
	}
	return e, nil
}

func tooFlat(p *roof.Plane, a *assembly.Assembly) error {
	return &events.Refusal{
		Code: "too-flat", Where: firstPoint(p), Was: p.Pitch.String(),
		Want: fmt.Sprintf("%s or steeper for %s (%s)", a.LeastPitch, a.Name, a.LeastPitchSource),
	}
}

// laid leaves out the planes that are too flat, and names them.
func laid(r *roof.Roof, a *assembly.Assembly, plan Layout) (*Estimate, error) {
	if err := plan.check(r, a); err != nil {
		return nil, err
	}
	e := &Estimate{Roof: r.Name, Assembly: a.Name, layout: plan, extents: map[extent]quantity.Amount{}, steps: map[events.Place][]assembly.Step{}}
	panels := 0
	for i := range r.Planes {
		p := &r.Planes[i]
		// Bounds from both sides, so that what is no number is refused too.
		if !(p.SlopeFactor >= 1 && p.SlopeFactor < math.MaxInt32) {
			return nil, tooFlat(p, a)
		}
		if p.Pitch.Less(a.LeastPitch) {
			e.TooFlat = append(e.TooFlat, events.Place(p.Mark))
			continue
		}
		plane, err := layOut(&e.cut, r, p, a, plan)
		if err != nil {
			return nil, err
		}
		if panels += len(plane.Panels); panels > MostPanelsInAll {
			return nil, tooMany(p, panels, MostPanelsInAll)
		}
		e.Openings = append(e.Openings, openingsOf(&e.cut, p, plane.sides)...)
		for _, pipe := range p.Pipes {
			plane.Notes = append(plane.Notes, plane.throughPanel(p, pipe))
		}
		e.Planes = append(e.Planes, plane)
	}
	ends := cornersOf(r)
	for i := range r.Edges {
		g := &r.Edges[i]
		if !slices.ContainsFunc(g.Planes, func(p roof.PlaneMark) bool { return !slices.Contains(e.TooFlat, events.Place(p)) }) {
			continue
		}
		edge := Edge{Mark: events.Place(g.Mark), Kind: string(g.Kind), Length: g.Length, Sheds: g.Sheds, Drains: g.Drains, corners: ends.at(g)}
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
	checks := func(place events.Place, s *assembly.Step) {
		for _, c := range s.Checks {
			e.Checks = append(e.Checks, Check{place, s.ID, c})
		}
	}
	for i := range e.Planes {
		p := &e.Planes[i]
		e.extents[extent{p.Mark, ""}] = quantity.OfArea(p.Area)
		for k := range a.Plane {
			s := &a.Plane[k]
			e.extents[extent{p.Mark, s.ID}] = quantity.OfArea(p.Area)
			if s.Kind == assembly.Panels {
				e.extents[extent{p.Mark, s.ID}] = quantity.Pieces(int64(len(p.Panels)))
			}
			checks(p.Mark, s)
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
		steps, site := a.Steps(g.Kind), e.edgeSite(g)
		for k := range steps {
			s := &steps[k]
			e.extents[extent{g.Mark, s.ID}] = quantity.OfLength(g.Length)
			checks(g.Mark, s)
			for _, u := range s.Uses {
				if n, ok := e.atSite(a, site, steps, u); ok {
					e.demand(g.Mark, s.ID, u.Material, n)
				}
			}
		}
	}
	for i := range e.Openings {
		o := &e.Openings[i]
		steps := a.OpeningSteps(o.Kind, o.Width)
		if len(steps) == 0 {
			e.Notes = append(e.Notes, fmt.Sprintf("%s is a %s, and the assembly has no steps for it: order its flashing beside these lines.", o.Mark, o.Kind))
			continue
		}
		e.opening(a, o, steps, checks)
	}
	for _, c := range a.Roof {
		e.Checks = append(e.Checks, Check{events.WholeRoof, "", c})
	}
	e.noteIce(a)
}

// opening fills in the extents, demands and checks of one opening. A step along a part
// that the opening lacks, as where a dormer's own planes meet the border, is not due.
func (e *Estimate) opening(a *assembly.Assembly, o *Opening, steps []assembly.Step, checks func(events.Place, *assembly.Step)) {
	due := steps[:0:0]
	for i := range steps {
		if len(o.runs(steps[i].Along)) > 0 {
			due = append(due, steps[i])
		}
	}
	if len(due) == 0 {
		return // edges have all of its border
	}
	e.steps[o.Mark] = due
	e.extents[extent{o.Mark, ""}] = quantity.OfLength(o.Round)
	for k := range due {
		s := &due[k]
		e.extents[extent{o.Mark, s.ID}] = o.extent(s)
		checks(o.Mark, s)
		for _, u := range s.Uses {
			if n, ok := e.atSite(a, e.openingSite(o, s), due, u); ok {
				e.demand(o.Mark, s.ID, u.Material, n)
			}
		}
	}
}

// StepsAt are the steps that are due at an opening, in order; nil for a mark that is no
// opening's, and for one with nothing to flash.
func (e *Estimate) StepsAt(opening events.Place) []assembly.Step { return e.steps[opening] }

// noteIce tells how far the ice barrier reaches where nobody gave the overhang.
func (e *Estimate) noteIce(a *assembly.Assembly) {
	if e.layout.Overhang > 0 {
		return
	}
	for _, s := range a.Steps(string(roof.Eave)) {
		for _, u := range s.Uses {
			if u.Per == assembly.PerStrip {
				reach := u.Width*quantity.Length(u.Times()) - u.SideLap*quantity.Length(u.Times()-1)
				e.Notes = append(e.Notes, fmt.Sprintf("The %s at the eaves reaches %s up the slope, as the assembly says: give the overhang and the wall's thickness to reckon it to 24\" inside the wall line (IRC R905.1.2).", u.Material, reach))
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
