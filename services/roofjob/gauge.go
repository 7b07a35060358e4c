package roofjob

import (
	"fmt"
	"math"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
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
func (f *fold) gauge(e events.Event, m events.MeasureTaken) {
	key := gauge{m.Where, m.Of}
	g := Gauge{Report: e.ID, At: e.At, By: e.By, Where: m.Where, Of: m.Of, Values: m.Values}
	blocks := ""
	g.Fits, g.Verdict, blocks = f.judge(m)
	if before, ok := f.gauged[key]; ok && !before.Fits && g.Fits {
		if i := f.item[before.Report]; i != nil && i.State == ItemOpen {
			i.State, i.Fixed, i.FixedBy = ItemFixed, e.At, e.By
			i.Reason = "Measured again: " + g.Verdict
		}
	}
	f.gauged[key] = g
	if !g.Fits {
		f.raise(e, m.Where, g.Verdict, blocks)
	}
}

// judge holds a measure against every check at its place that speaks of its sort.
func (f *fold) judge(m events.MeasureTaken) (fits bool, verdict, blocks string) {
	if f.drawing == nil {
		return true, "", ""
	}
	if verdict, fits, ok := f.square(m); ok {
		return fits, verdict, events.BlocksCloseout
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

// square judges diagonals and 3-4-5 by how far out of square they tell over the run:
// for a rectangle of sides a and b with diagonals d and e the corner is off by
// |d²-e²|/(4a) over b, with a taken from the mean diagonal as if the sides were in
// the ratio 3 to 4 where only diagonals are known; for a triangle by the law of
// cosines, (c² - a² - b²)/(2a) over b. Plane geometry; no published tolerance exists,
// the allowance is the assembly's.
func (f *fold) square(m events.MeasureTaken) (verdict string, fits, ok bool) {
	var v []float64
	for _, r := range m.Values {
		l, err := quantity.ParseLength(string(r))
		if err != nil {
			return "", false, false
		}
		v = append(v, l.Inches())
	}
	var off float64
	switch {
	case m.Of == events.OfDiagonals && len(v) == 2:
		mean := (v[0] + v[1]) / 2
		off = math.Abs(v[0]*v[0]-v[1]*v[1]) / (4 * mean * 3 / 5)
	case m.Of == events.OfThreeFourFive && len(v) == 3:
		off = math.Abs(v[2]*v[2]-v[0]*v[0]-v[1]*v[1]) / (2 * v[0])
	default:
		return "", false, false
	}
	allowed := f.drawing.assembly.Square
	if off <= allowed.Inches() {
		return fmt.Sprintf("Square within %.2f in; up to %s can be taken up inside the rake trim.", off, allowed), true, true
	}
	return fmt.Sprintf("Out of square at %s by %.2f in, more than the %s that the rake trim can take up: stop and correct the line.", m.Where, off, allowed), false, true
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
