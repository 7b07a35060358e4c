package roofjob

import (
	"math"
	"slices"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/tonight"
)

// Covers keep out this share of the water that they lie over, and take this long
// for one person a place: common practice, a tarp is never tight.
const (
	coverShare   = 0.8
	coverMinutes = 30
)

// Closing lists what a crew could do to close the job's open places before a night
// that brings rainMM of rain: the missing steps of each place up to the one that keeps
// water out, and a cover as the quick alternative.
//
// Litres are plan area times rain for bare deck and for edges that water runs over
// (the rational method with a coefficient of one), and length times the opening's
// height times rain for edges that rain is blown into: as much as meets the opening
// when wind drives it as hard as it falls. They rank places; they forecast no leak.
func (s *State) Closing(heads int, rainMM float64) []tonight.Candidate {
	var all []tonight.Candidate
	offered := map[string]bool{}
	for _, p := range s.Places() {
		if !p.IsOpen() {
			continue
		}
		c := tonight.Candidate{ID: string(p.Mark), Where: string(p.Mark), NightL: s.enters(p, rainMM)}
		needed := map[events.MaterialID]quantity.Amount{}
		minutes := 0.0
		for _, step := range p.Missing() {
			minutes += s.personMinutes(p, step)
			c.Steps = append(c.Steps, string(step.ID))
			c.LeastHeads = max(c.LeastHeads, s.leastHeads(p.Mark, step.ID))
			s.needs(p.Mark, step, needed)
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
				c.Needs = append(c.Needs, tonight.Need{Material: string(id), Amount: smallest(need)})
			}
			sortNeeds(c.Needs)
			all = append(all, c)
			offered[c.ID] = true
		}
		cover := tonight.Candidate{
			ID: c.ID + "/cover", Where: c.Where, Steps: []string{"cover"}, Crew: crewTime(coverMinutes, heads), LeastHeads: 2,
			NightL: c.NightL * coverShare, Cover: true,
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

func (s *State) enters(p Place, rainMM float64) float64 {
	if p.Kind == assembly.PlaneKind {
		// Litres are square metres times millimetres; the plan area of what lies bare.
		for _, plane := range s.now.drawing.estimate.Planes {
			if plane.Mark == p.Mark {
				return quantity.Fraction(p.Opened, p.Extent) * plane.PlanArea.SquareMetres() * rainMM
			}
		}
		return 0
	}
	for _, e := range s.now.drawing.roof.Edges {
		if events.Place(e.Mark) != p.Mark {
			continue
		}
		switch p.Kind {
		case "valley", "break":
			return e.Drains.SquareMetres() * rainMM
		default:
			return e.Length.Metres() * s.now.drawing.assembly.Edges[p.Kind].Opening.Metres() * rainMM
		}
	}
	return 0
}

func (s *State) personMinutes(p Place, step Step) float64 {
	for _, a := range s.now.drawing.steps(p.Mark) {
		if a.ID != step.ID {
			continue
		}
		rest, err := step.Of.Sub(step.Done)
		if err != nil {
			return 0
		}
		return float64(a.Rate.Minutes) * rest.Plain() / a.Rate.For.Plain()
	}
	return 0
}

func (s *State) leastHeads(place events.Place, id events.StepID) int {
	step, _, _ := s.now.drawing.step(place, id)
	return max(step.Heads, 1)
}

func (s *State) needs(place events.Place, step Step, into map[events.MaterialID]quantity.Amount) {
	for _, d := range s.now.drawing.estimate.Demands {
		if d.Place != place || d.Step != step.ID {
			continue
		}
		rest, err := d.Net.Sub(s.now.part(place, step.ID, d.Net))
		if err != nil {
			continue // units changed under the reports: the ledger tells it
		}
		if sum, err := into[d.Material].Add(rest); err == nil {
			into[d.Material] = sum
		}
	}
}

func crewTime(personMinutes float64, heads int) time.Duration {
	return time.Duration(math.Max(1, math.Ceil(personMinutes/float64(max(heads, 1))))) * time.Minute
}

// smallest is an amount in the smallest unit of its kind.
func smallest(a quantity.Amount) int64 {
	switch a.Kind() {
	case quantity.Lengthwise:
		return int64(a.Length())
	case quantity.Areal:
		return int64(a.Area())
	default:
		return a.Thousandths()
	}
}

// FromSmallest turns an amount in the smallest unit of a material's kind back.
func FromSmallest(m *assembly.Material, n int64) quantity.Amount {
	switch m.Kind() {
	case quantity.Lengthwise:
		return quantity.OfLength(quantity.Length(n))
	case quantity.Areal:
		return quantity.OfArea(quantity.Area(n))
	default:
		return quantity.Packs(n, quantity.Each)
	}
}

// Smallest is what is at hand of a material in the unit of a plan's needs; nothing for
// less than nothing.
func Smallest(a quantity.Amount) int64 { return max(0, smallest(a)) }

func sortNeeds(needs []tonight.Need) {
	slices.SortFunc(needs, func(a, b tonight.Need) int { return compareText(a.Material, b.Material) })
}
