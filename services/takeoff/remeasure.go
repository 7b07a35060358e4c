package takeoff

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roof"
)

// Agree is how far two measures of one thing may be apart and still agree: what a tape
// gives on a roof (common practice).
const Agree = quantity.Inch / 4

// Remeasured is a roof re-solved by what was measured on it.
type Remeasured struct {
	// Roof is the roof as measured; the drawn one where nothing moved it.
	Roof *roof.Roof
	// Moved are the measures that moved it.
	Moved []Move
	// Contradictions are the measures that cannot be true together with others and the
	// drawing; they moved nothing.
	Contradictions []Contradiction
}

// Move is a measure that was taken over.
type Move struct {
	Place           events.Place
	Of              string
	Drawn, Measured quantity.Length
}

// Contradiction is a measure that others rule out.
type Contradiction struct {
	Place events.Place
	Of    string
	// Says is what was measured, Implied what follows for it from the others, Off their
	// difference. They are zero for a slope.
	Says, Implied, Off quantity.Length
	// With are the places of the measures that rule it out; none: the drawing alone does.
	With []events.Place
	// Words say it in a sentence.
	Words string
}

// Surveyor re-solves one roof by measures, as often as one more is taken. It keeps what
// follows from the drawing alone. It is not safe for several goroutines.
type Surveyor struct {
	roof *roof.Roof
	base *solver // nil until it is asked for, and where the roof has too many corners
}

// SurveyorOf is a surveyor of a roof.
func SurveyorOf(r *roof.Roof) *Surveyor { return &Surveyor{roof: r} }

// solver is a solver for the roof as pitched, which may be the roof as drawn.
func (v *Surveyor) solver(pitched *roof.Roof) *solver {
	if pitched != v.roof {
		return newSolver(pitched)
	}
	if v.base == nil {
		v.base = newSolver(v.roof)
	}
	if v.base == nil {
		return nil
	}
	return v.base.again()
}

// Remeasure re-solves a roof by measures, once: see Surveyor.Remeasure.
func Remeasure(r *roof.Roof, measures []events.MeasureTaken) (*Remeasured, error) {
	return SurveyorOf(r).Remeasure(measures)
}

// Remeasure re-solves the roof by measures of edges' lengths, planes' slope lengths and
// slopes, in the order in which they were taken; of two of the same thing the later
// counts. Measures of other things are left alone.
//
// Corners keep their angles: every border keeps its direction in plan, and of all ways to
// meet the measures the one is taken that moves the corners least. A measure that others
// already settle must Agree with them, or it is a contradiction. An unknown place, or a
// value that cannot be read, is an *events.Refusal.
func (v *Surveyor) Remeasure(measures []events.MeasureTaken) (*Remeasured, error) {
	r := v.roof
	out := &Remeasured{Roof: r}
	latest := latestOf(measures)
	pitched, err := out.slopes(r, latest)
	if err != nil {
		return nil, err
	}
	out.Roof = pitched
	lengths := slices.DeleteFunc(latest, func(m events.MeasureTaken) bool {
		return m.Of != events.OfLength && m.Of != events.OfSlopeLength
	})
	if len(lengths) == 0 {
		return out, nil
	}
	s := v.solver(pitched)
	if s == nil {
		return nil, &events.Refusal{Code: "too-many-corners", Where: "roof", Was: fmt.Sprintf("more than %d corners", mostCorners), Want: "a roof drawn anew as it was measured"}
	}
	for _, m := range lengths {
		if err := out.length(s, m); err != nil {
			return nil, err
		}
	}
	if len(s.taken) == 0 || !out.moves() {
		return out, nil
	}
	move := s.least()
	moved, err := redrawn(pitched, func(i int, d *planeFile) {
		d.EaveHeight = (pitched.Planes[i].EaveHeight + s.rise(move, i)).String()
	}, func(q roof.Point) roof.Point { return s.shift(move, q) })
	if err != nil {
		return out.none(pitched, s, err.Error()), nil
	}
	out.Roof = moved
	return out, nil
}

// moves tells whether any length taken over differs from the drawn one.
func (m *Remeasured) moves() bool {
	return slices.ContainsFunc(m.Moved, func(o Move) bool { return o.Drawn != o.Measured })
}

// none takes every move back, as one contradiction with the drawing.
func (m *Remeasured) none(r *roof.Roof, s *solver, why string) *Remeasured {
	m.Roof = r
	m.Moved = slices.DeleteFunc(m.Moved, func(o Move) bool { return o.Of != events.OfSlope })
	for _, t := range s.taken {
		m.Contradictions = append(m.Contradictions, Contradiction{Place: t, Of: events.OfLength, With: slices.Clone(s.taken),
			Words: fmt.Sprintf("%s as measured does not go with the drawing: %s.", t, why)})
	}
	return m
}

// latestOf keeps the last measure of each thing, in the order of those.
func latestOf(measures []events.MeasureTaken) []events.MeasureTaken {
	var all []events.MeasureTaken
	for _, m := range measures {
		all = slices.DeleteFunc(all, func(o events.MeasureTaken) bool { return o.Where == m.Where && o.Of == m.Of })
		all = append(all, m)
	}
	return all
}

// length gives the solver one measured length.
func (m *Remeasured) length(s *solver, taken events.MeasureTaken) error {
	lengths, err := lengthsOf(taken)
	if err != nil {
		return err
	}
	if len(lengths) != 1 {
		return &events.Refusal{Code: "one-value", Where: string(taken.Where), Was: fmt.Sprintf("%d values", len(lengths)), Want: "one length"}
	}
	row, drawn, perRun, err := s.row(taken)
	if err != nil {
		return err
	}
	says := lengths[0]
	implied, with, free := s.take(row, float64(says-drawn)/perRun, taken.Where)
	if free {
		m.Moved = append(m.Moved, Move{taken.Where, taken.Of, drawn, says})
		return nil
	}
	follows := drawn + nanometres(implied*perRun)
	off := (says - follows).Abs()
	if off <= Agree {
		return nil
	}
	c := Contradiction{Place: taken.Where, Of: taken.Of, Says: says, Implied: follows, Off: off, With: with}
	by := "the drawing, in which nothing leaves it free"
	if len(with) > 0 {
		parts := make([]string, len(with))
		for i, p := range with {
			parts[i] = string(p)
		}
		by = strings.Join(parts, ", ") + " as measured"
	}
	c.Words = fmt.Sprintf("%s measured %s; by %s it is %s: %s apart. Measure them again, or the corners are not as drawn.",
		taken.Where, says.Nearest(16), by, follows.Nearest(16), off.Nearest(16))
	m.Contradictions = append(m.Contradictions, c)
	return nil
}

// slopes gives the planes their measured pitches, all or none.
func (m *Remeasured) slopes(r *roof.Roof, measures []events.MeasureTaken) (*roof.Roof, error) {
	pitches := map[roof.PlaneMark]quantity.Pitch{}
	var said []string
	var with []events.Place
	for _, t := range measures {
		if t.Of != events.OfSlope {
			continue
		}
		plane, ok := r.Plane(roof.PlaneMark(t.Where))
		if !ok {
			return nil, unknownPlace(t, "the mark of a plane")
		}
		pitch, err := meanPitch(t)
		if err != nil {
			return nil, err
		}
		if !pitch.Less(plane.Pitch) && !plane.Pitch.Less(pitch) {
			continue
		}
		pitches[plane.Mark] = pitch
		with = append(with, t.Where)
		said = append(said, fmt.Sprintf("%s %s, drawn %s", t.Where, pitch, plane.Pitch))
	}
	if len(pitches) == 0 {
		return r, nil
	}
	now, err := redrawn(r, func(i int, d *planeFile) {
		if pitch, ok := pitches[roof.PlaneMark(d.Mark)]; ok {
			d.Pitch = pitch.String()
		}
		// Planes with an eave keep its height, the others hang on them anew.
		if !hasEave(r, &r.Planes[i]) {
			d.EaveHeight = ""
		}
	}, nil)
	if err == nil {
		for _, p := range with {
			m.Moved = append(m.Moved, Move{Place: p, Of: events.OfSlope})
		}
		return now, nil
	}
	for _, p := range with {
		m.Contradictions = append(m.Contradictions, Contradiction{Place: p, Of: events.OfSlope, With: slices.Clone(with),
			Words: fmt.Sprintf("With the slopes as measured (%s) the planes no longer meet as they are drawn: measure the neighbours' slopes too, or redraw the roof.", strings.Join(said, "; "))})
	}
	return r, nil
}

// meanPitch is the mean of a measure's pitches, to a thousandth of an inch in twelve.
func meanPitch(m events.MeasureTaken) (quantity.Pitch, error) {
	sum := 0.0
	for i, v := range m.Values {
		p, err := quantity.ParsePitch(string(v))
		if err != nil || p.Slope() <= 0 || p.Slope() > roof.Steepest.Slope() {
			return p, &events.Refusal{Code: "unreadable-pitch", Where: fmt.Sprintf("%s, value %d", m.Where, i+1), Was: string(v), Want: "rise over run such as 6/12, up to " + roof.Steepest.String()}
		}
		if len(m.Values) == 1 {
			return p, nil
		}
		sum += p.Slope()
	}
	if len(m.Values) == 0 {
		return quantity.Pitch{}, &events.Refusal{Code: "one-value", Where: string(m.Where), Was: "no value", Want: "one pitch or more"}
	}
	return quantity.PitchOf(int64(math.Round(sum/float64(len(m.Values))*12_000)), 12_000), nil
}

func unknownPlace(m events.MeasureTaken, want string) error {
	return &events.Refusal{Code: "unknown-mark", Where: "/where", Was: string(m.Where), Want: want + " of this roof, for a measure of " + m.Of}
}
