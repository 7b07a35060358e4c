package roofjob

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/takeoff"
)

// gauge is what a measure is of, where.
type gauge struct {
	where events.Place
	of    string
}

// Gauge is the last measure of its sort at a place, and its verdict.
type Gauge struct {
	Report events.ReportID
	At     time.Time
	By     events.PersonID
	Where  events.Place
	Of     string
	Values []events.Reading
	// Fits tells whether every value is within what the checks at the place allow;
	// true where no check speaks of it.
	Fits bool
	// Verdict says so in words, with the numbers.
	Verdict string
}

// gauge folds a measure in; one out of tolerance raises an item, a later one within
// it closes the item for somebody to verify.
func (f *fold) gauge(s *State, e events.Event, m events.MeasureTaken) {
	key := gauge{m.Where, m.Of}
	g := Gauge{Report: e.ID, At: e.At, By: e.By, Where: m.Where, Of: m.Of, Values: m.Values}
	var blocks string
	g.Fits, g.Verdict, blocks = f.judge(m)
	if f.isTaped(m) {
		fits, said := f.survey(s, m)
		if !g.Fits {
			said = g.Verdict + " " + said
		}
		f.contradicts[key] = g.Fits && !fits
		g.Fits, g.Verdict = g.Fits && fits, said
		if !fits {
			blocks = events.BlocksCloseout
		}
		f.settleItems(e, m)
	}
	if g.Fits {
		f.fixed(e, key, "Measured again: "+g.Verdict)
	} else {
		f.unfit[key] = append(f.unfit[key], e.ID)
	}
	f.gauged[key] = g
	if !g.Fits {
		f.raise(e, m.Where, g.Verdict, blocks)
	}
}

// fixed closes, for somebody to verify, the items of earlier measures of one thing.
func (f *fold) fixed(e events.Event, key gauge, reason string) {
	for _, id := range f.unfit[key] {
		if i := f.find(id); i != nil && i.State == ItemOpen {
			i.State, i.Fixed, i.FixedBy, i.Reason = ItemFixed, e.At, e.By, reason
		}
	}
	delete(f.unfit, key)
}

// settleItems closes the items of measures that contradicted others and do so no longer.
func (f *fold) settleItems(e events.Event, m events.MeasureTaken) {
	if f.resolved == nil {
		return
	}
	for key, contradicts := range f.contradicts {
		still := slices.ContainsFunc(f.resolved.Contradictions, func(c takeoff.Contradiction) bool { return c.Place == key.where && c.Of == key.of })
		if contradicts && !still && key != (gauge{m.Where, m.Of}) {
			f.fixed(e, key, fmt.Sprintf("It contradicts nothing since the %s of %s was measured.", m.Of, m.Where))
			f.contradicts[key] = false
		}
	}
}

// judge holds a measure against every check at its place that speaks of its sort.
func (f *fold) judge(m events.MeasureTaken) (fits bool, verdict, blocks string) {
	if f.drawing == nil {
		return true, "", ""
	}
	if m.Of == events.OfDiagonals || m.Of == events.OfThreeFourFive {
		return f.square(m)
	}
	var bad []string
	for _, step := range f.drawing.steps(m.Where) {
		for _, c := range step.Checks {
			if c.Of != m.Of {
				continue
			}
			if words := outside(c, m.Values); words != "" {
				bad = append(bad, words+" ("+string(step.ID)+": "+c.What+")")
				if blocks == "" || c.Blocks == events.BlocksNight {
					blocks = c.Blocks
				}
			}
		}
	}
	if len(bad) > 0 {
		return false, "Out of tolerance at " + string(m.Where) + ": " + strings.Join(bad, "; ") + ".", blocks
	}
	return true, "Within tolerance.", ""
}

// outside says which values break a check's bounds; empty when none does.
func outside(c assembly.Check, values []events.Reading) string {
	var bad []string
	for _, v := range values {
		if c.MostPercent > 0 {
			if p, err := percent(v); err == nil && p > c.MostPercent {
				bad = append(bad, fmt.Sprintf("%s %% is above %g %%", strings.TrimRight(string(v), " %"), c.MostPercent))
			}
			continue
		}
		l, err := quantity.ParseLength(string(v))
		switch {
		case err != nil:
		case c.Least != nil && l < *c.Least:
			bad = append(bad, fmt.Sprintf("%s is below %s", v, *c.Least))
		case c.Most != nil && l > *c.Most:
			bad = append(bad, fmt.Sprintf("%s is above %s", v, *c.Most))
		}
	}
	return strings.Join(bad, ", ")
}

// square judges diagonals and 3-4-5 on the plane they were laid out on, or beside: how far
// out of square over its run, the taper across the roof, and what to do. What cannot be
// judged proves nothing, and stops nothing.
func (f *fold) square(m events.MeasureTaken) (fits bool, verdict, blocks string) {
	marks := f.drawing.planes[m.Where]
	for i := range f.drawing.estimate.Planes {
		p := &f.drawing.estimate.Planes[i]
		if len(marks) == 0 || p.Mark != marks[0] {
			continue
		}
		s, err := p.Square(f.drawing.assembly, m)
		if err != nil {
			return false, fmt.Sprintf("Whether %s is square cannot be told: %v.", m.Where, err), events.BlocksNothing
		}
		return s.Within, s.Verdict, events.BlocksCloseout
	}
	return false, "Say on which plane it was laid out: how far a corner runs out goes by the plane's length.", events.BlocksNothing
}

func percent(r events.Reading) (float64, error) {
	var p float64
	text := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(string(r)), "%"))
	n, err := fmt.Sscanf(text, "%g", &p)
	if err != nil || n != 1 || math.IsNaN(p) || p < 0 || p > 100 || strings.ContainsAny(text, " xXpPnNiI_") {
		return 0, fmt.Errorf("%q is no percentage", r)
	}
	return p, nil
}

// Gauges are the last measures of each sort at each place, oldest first.
func (s *State) Gauges() []Gauge {
	var all []Gauge
	for _, e := range s.log {
		m, ok := e.Body.(events.MeasureTaken)
		if !ok || s.withdrawn[e.ID] != "" {
			continue
		}
		if g := s.now.gauged[gauge{m.Where, m.Of}]; g.Report == e.ID {
			all = append(all, g)
		}
	}
	return all
}
