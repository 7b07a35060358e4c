package roofjob

import (
	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// openPerSquare is how long one person takes to take the old roof off a square (100 square
// feet) and clear it away: common practice; assemblies begin at the bare deck.
const openPerSquare = 30

// DryIn is what it takes to open what is still closed of a plane's deck and to dry it in
// again, by one person.
type DryIn struct {
	Plane events.Place
	// Area is the true area that is still to open.
	Area quantity.Area
	// FixedMin is for what is done at its edges first, RestMin for all of Area, and in
	// proportion for a part of it.
	FixedMin, RestMin float64
	// FixedNeeds and Needs are likewise, in the materials' smallest units.
	FixedNeeds, Needs map[events.MaterialID]int64
	LeastHeads        int
}

// DryIns lists the planes whose deck is not wholly opened, in the order of the drawing.
// Minutes are from the rates, times the crew's own pace where it is known.
func (s *State) DryIns(paces map[events.StepID]float64) []DryIn {
	var all []DryIn
	for _, p := range s.Places() {
		if p.Kind != assembly.PlaneKind || p.OpenedShare() >= 1 {
			continue
		}
		all = append(all, s.dryIn(p, paces))
	}
	return all
}

func (s *State) dryIn(p Place, paces map[events.StepID]float64) DryIn {
	rest := 1 - p.OpenedShare()
	area := quantity.Area(float64(p.Extent.Area()) * rest)
	o := DryIn{
		Plane: p.Mark, Area: area, RestMin: openPerSquare * area.SquareFeet() / squareFeetSquare, LeastHeads: 1,
		FixedNeeds: map[events.MaterialID]int64{}, Needs: map[events.MaterialID]int64{},
	}
	pace := func(id events.StepID) float64 {
		if own, ok := paces[id]; ok {
			return own
		}
		return 1
	}
	w := s.now.drawing
	for i, step := range w.assembly.Plane {
		done := p.Steps[i]
		o.RestMin += s.personMinutes(p, done, rest) * pace(step.ID)
		s.needs(p, done, rest, o.Needs)
		o.LeastHeads = max(o.LeastHeads, step.Heads)
		for _, mark := range w.edges[p.Mark] {
			s.before(&o, mark, step.AfterEdge[w.kinds[mark]], pace)
		}
		if step.Becomes == assembly.DriedIn || step.Becomes == assembly.WeatherTight {
			break
		}
	}
	return o
}

// before adds an edge's steps that come before a plane's.
func (s *State) before(o *DryIn, mark events.Place, steps []events.StepID, pace func(events.StepID) float64) {
	edge := s.now.place(mark)
	for _, id := range steps {
		for _, done := range edge.Steps {
			if done.ID != id || done.Complete() {
				continue
			}
			rest := 1 - done.Fraction()
			o.FixedMin += s.personMinutes(edge, done, rest) * pace(id)
			s.needs(edge, done, rest, o.FixedNeeds)
			o.LeastHeads = max(o.LeastHeads, s.leastHeads(mark, id))
		}
	}
}
