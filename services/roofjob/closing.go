package roofjob

import (
	"math"
	"math/bits"
	"slices"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/tonight"
)

// Covering takes one person this long: to fetch and weight a cover, and more for each
// square (100 square feet) of bare deck or ten feet of edge: common practice.
const (
	coverMinutes     = 20
	coverPerSquare   = 15
	coverPerTenFeet  = 10
	squareFeetSquare = 100
)

// coverTime is how long one person takes to cover a place.
func coverTime(p Place) float64 {
	if p.Kind == assembly.PlaneKind {
		return coverMinutes + coverPerSquare*p.Bare().Area().SquareFeet()/squareFeetSquare
	}
	return coverMinutes + coverPerTenFeet*p.Extent.Length().Feet()/10
}

// Water is what closing a place keeps out: over the night, and in each hour of rain
// before it.
type Water struct{ NightL, DripLH float64 }

// CoverSharePct is how much of the water a cover keeps out, in hundredths: common
// practice, a tarp is never tight.
const CoverSharePct = 80

// Closing lists what a crew of that many heads could do to close the job's open places:
// the missing steps of each place up to the one that keeps water out, and a cover as the
// quick alternative. Minutes are from the rates, times the crew's own pace where it is
// known. Where part of a plane's deck was opened, it is that part that is closed.
func (s *State) Closing(heads int, paces map[events.StepID]float64, water func(Place) Water) []tonight.Candidate {
	var all []tonight.Candidate
	offered := map[string]bool{}
	for _, p := range s.Places() {
		if !p.IsOpen() {
			continue
		}
		w := water(p)
		c := tonight.Candidate{ID: string(p.Mark), Where: string(p.Mark), NightL: w.NightL, DripLH: w.DripLH}
		needed := map[events.MaterialID]int64{}
		minutes := 0.0
		for _, step := range p.Missing() {
			rest := p.rest(step)
			pace, learned := paces[step.ID]
			if !learned {
				pace = 1
			}
			minutes += s.personMinutes(p, step, rest) * pace
			c.Steps = append(c.Steps, string(step.ID))
			c.LeastHeads = max(c.LeastHeads, s.leastHeads(p.Mark, step.ID))
			s.needs(p, step, rest, needed)
			if closes := step.Becomes == assembly.DriedIn || step.Becomes == assembly.WeatherTight; closes && !p.Panelled {
				break
			}
		}
		if p.Kind != assembly.PlaneKind && !p.Panelled && !dries(p) {
			continue // it is closed with the planes beside it
		}
		if len(c.Steps) > 0 {
			c.Crew = crewTime(minutes, heads)
			for id, need := range needed {
				c.Needs = append(c.Needs, tonight.Need{Material: string(id), Amount: need})
			}
			sortNeeds(c.Needs)
			all = append(all, c)
			offered[c.ID] = true
		}
		cover := tonight.Candidate{
			ID: c.ID + "/cover", Where: c.Where, Steps: []string{"cover"}, Crew: crewTime(coverTime(p), heads), LeastHeads: 2,
			NightL: c.NightL * CoverSharePct / 100, DripLH: c.DripLH * CoverSharePct / 100, Cover: true,
		}
		if offered[c.ID] {
			cover.Instead = []string{c.ID}
		}
		all = append(all, cover)
	}
	for i := range all {
		if !all[i].Cover {
			all[i].After = s.comesAfter(events.Place(all[i].Where), offered)
		}
	}
	return all
}

// rest is the share of a step's whole that is still to do before the place keeps water
// out: of a plane, no more than was opened.
func (p Place) rest(step Step) float64 {
	whole := 1.0
	if p.Kind == assembly.PlaneKind {
		whole = p.OpenedShare()
	}
	return max(0, whole-step.Fraction())
}

// dries tells whether an edge has a step of its own that keeps rain out before any
// panel lies at it.
func dries(p Place) bool {
	for _, s := range p.Steps {
		if s.Becomes == assembly.DriedIn {
			return s.Kind == assembly.Layer || s.Kind == assembly.Trim && p.Kind == "valley"
		}
	}
	return false
}

// comesAfter are the offered edges whose steps a plane's steps wait for.
func (s *State) comesAfter(where events.Place, offered map[string]bool) []string {
	w := s.now.drawing
	if !w.isPlane(where) {
		return nil
	}
	var after []string
	for _, edge := range w.edges[where] {
		waits := false
		for _, step := range w.assembly.Plane {
			waits = waits || step.Becomes == assembly.DriedIn && len(step.AfterEdge[w.kinds[edge]]) > 0
		}
		if waits && offered[string(edge)] {
			after = append(after, string(edge))
		}
	}
	return after
}

// personMinutes is how long one person takes for a share of a step's whole.
func (s *State) personMinutes(p Place, step Step, share float64) float64 {
	for _, a := range s.now.drawing.steps(p.Mark) {
		if a.ID == step.ID {
			return float64(a.Rate.Minutes) * step.Of.Plain() * share / a.Rate.For.Plain()
		}
	}
	return 0
}

func (s *State) leastHeads(place events.Place, id events.StepID) int {
	step, _, _ := s.now.drawing.step(place, id)
	return max(step.Heads, 1)
}

// needs adds what a share of a step's whole takes, rounded up, in the materials' smallest
// units.
func (s *State) needs(p Place, step Step, share float64, into map[events.MaterialID]int64) {
	for _, d := range s.now.drawing.estimate.Demands {
		if d.Place != p.Mark || d.Step != step.ID {
			continue
		}
		const whole = 1_000_000_000
		into[d.Material] += mulDivUp(d.Net.Smallest(), int64(math.Ceil(share*whole-1e-3)), whole)
	}
}

// mulDivUp is a·b/c rounded up, without losing what does not fit an int64 between.
func mulDivUp(a, b, c int64) int64 {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	lo, carry := bits.Add64(lo, uint64(c-1), 0)
	q, _ := bits.Div64(hi+carry, lo, uint64(c))
	return int64(q)
}

func crewTime(personMinutes float64, heads int) time.Duration {
	return time.Duration(math.Max(1, math.Ceil(personMinutes/float64(max(heads, 1))))) * time.Minute
}

// FromSmallest turns an amount in the smallest unit of a material's kind back.
func FromSmallest(m *assembly.Material, n int64) quantity.Amount {
	return quantity.OfSmallest(m.Kind(), n, quantity.Each)
}

// Smallest is what is at hand of a material in the unit of a plan's needs; nothing for
// less than nothing.
func Smallest(a quantity.Amount) int64 { return max(0, a.Smallest()) }

func sortNeeds(needs []tonight.Need) {
	slices.SortFunc(needs, func(a, b tonight.Need) int { return compareText(a.Material, b.Material) })
}
