package roofjob

import (
	"crypto/sha256"
	"fmt"
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

// mostTapes bounds how many re-solved drawings are kept.
const mostTapes = 16

// unlikely is the part of a drawn length by which a first measure may differ and still move
// the estimate by itself: beyond a tenth it is as likely a slip of the tape or the tongue
// as of the drawing, and a second measure that agrees must bear it out (common practice).
const unlikely = 10

// taped is a drawing re-solved by measures.
type taped struct {
	drawing  *drawing
	resolved *takeoff.Remeasured
}

// isTaped tells whether a measure speaks of the geometry: an edge's length, a plane's slope
// length or slope.
func (f *fold) isTaped(m events.MeasureTaken) bool {
	if f.drawn == nil {
		return false
	}
	kind, known := f.drawn.kinds[m.Where]
	switch m.Of {
	case events.OfLength:
		return known && roof.Kind(kind).IsKind()
	case events.OfSlopeLength, events.OfSlope:
		return kind == assembly.PlaneKind
	}
	return false
}

// survey takes a measure into the geometry, and says what it did.
func (f *fold) survey(s *State, m events.MeasureTaken) (fits bool, verdict string) {
	before := f.tape
	f.tape = append(before[:len(before):len(before)], m)
	if drawn, says := f.drawnLength(m); !f.isLikely(m, before) {
		return false, fmt.Sprintf("%s measured %s, drawn %s: more than a tenth apart. The estimate stays as it is until a second measure says the same to %s, or the roof is drawn anew.",
			m.Where, says.Nearest(16), drawn.Nearest(16), takeoff.Agree)
	}
	if err := f.settle(s); err != nil {
		f.tape = before
		return false, fmt.Sprintf("The estimate cannot follow %s as measured: %v.", m.Where, err)
	}
	for _, c := range f.resolved.Contradictions {
		if c.Place == m.Where && c.Of == m.Of {
			return false, c.Words
		}
	}
	for _, move := range f.resolved.Moved {
		if move.Place == m.Where && move.Of == m.Of {
			return true, moved(move)
		}
	}
	return true, fmt.Sprintf("%s agrees with the drawing and what else was measured, to %s.", m.Where, takeoff.Agree)
}

func moved(m takeoff.Move) string {
	if m.Of == events.OfSlope || m.Drawn == m.Measured {
		return fmt.Sprintf("The estimate goes by %s as measured.", m.Place)
	}
	return fmt.Sprintf("%s measured %s, drawn %s: the estimate follows.", m.Place, m.Measured.Nearest(16), m.Drawn.Nearest(16))
}

// drawnLength is what the drawing has for what was measured; both are zero for a slope.
func (f *fold) drawnLength(m events.MeasureTaken) (drawn, says quantity.Length) {
	if m.Of == events.OfSlope || len(m.Values) != 1 {
		return 0, 0
	}
	says, err := quantity.ParseLength(string(m.Values[0]))
	if err != nil {
		return 0, 0
	}
	if m.Of == events.OfLength {
		return f.drawn.estimate.Extent(m.Where, "").Length(), says
	}
	for i := range f.drawn.estimate.Planes {
		if p := &f.drawn.estimate.Planes[i]; p.Mark == m.Where {
			return p.Height, says
		}
	}
	return 0, 0
}

// isLikely tells whether a measure moves the estimate: it is near the drawing, or an
// earlier one of the same bears it out.
func (f *fold) isLikely(m events.MeasureTaken, before []events.MeasureTaken) bool {
	drawn, says := f.drawnLength(m)
	return (says-drawn).Abs() <= drawn/unlikely || slices.ContainsFunc(before, func(o events.MeasureTaken) bool {
		_, said := f.drawnLength(o)
		return o.Where == m.Where && o.Of == m.Of && (said-says).Abs() <= takeoff.Agree
	})
}

// settle puts the drawing in force: as drawn, re-solved by the likely of what was measured.
// An error leaves what was in force before.
func (f *fold) settle(s *State) error {
	now, err := s.drawings.measured(f.drawn, f.likely())
	if err != nil {
		return err
	}
	f.resolved = now.resolved
	f.redraw(now.drawing)
	return nil
}

// likely are the measures that move the estimate.
func (f *fold) likely() []events.MeasureTaken {
	var likely []events.MeasureTaken
	for i, m := range f.tape {
		if f.isLikely(m, f.tape[:i]) {
			likely = append(likely, m)
		}
	}
	return likely
}

// redraw puts another drawing of the same roof in force. What was done whole stays whole,
// since it is the same roof, seen better.
func (f *fold) redraw(now *drawing) {
	was := f.drawing
	f.drawing = now
	if was == nil || was == now {
		return
	}
	for place, w := range f.work {
		if whole := was.estimate.Extent(place, ""); w.opened.Sign() > 0 && w.opened == whole {
			w.opened = now.estimate.Extent(place, "")
		}
		for step, p := range w.done {
			if whole := was.estimate.Extent(place, step); p.done.Sign() > 0 && p.done == whole {
				p.done = now.estimate.Extent(place, step)
			}
		}
	}
}

// measured is a drawing re-solved by measures; the drawing itself without any.
func (d *drawings) measured(drawn *drawing, measures []events.MeasureTaken) (taped, error) {
	if len(measures) == 0 {
		return taped{drawing: drawn}, nil
	}
	key := tapeKey{drawn, tapeDigest(measures)}
	if known, ok := d.tapes[key]; ok {
		return known, nil
	}
	if d.surveyors[drawn] == nil {
		d.surveyors = map[*drawing]*takeoff.Surveyor{drawn: takeoff.SurveyorOf(drawn.roof)}
	}
	resolved, err := d.surveyors[drawn].Remeasure(measures)
	if err != nil {
		return taped{}, err
	}
	now := taped{drawn, resolved}
	if resolved.Roof != drawn.roof {
		if now.drawing, err = drawingOf(resolved.Roof, drawn.assembly); err != nil {
			return taped{}, err
		}
	}
	if d.tapes == nil || len(d.tapes) >= mostTapes {
		d.tapes = map[tapeKey]taped{}
	}
	d.tapes[key] = now
	return now, nil
}

type tapeKey struct {
	drawn    *drawing
	measures [sha256.Size]byte
}

func tapeDigest(measures []events.MeasureTaken) [sha256.Size]byte {
	h := sha256.New()
	for _, m := range measures {
		fmt.Fprintf(h, "%q %q %q\n", m.Where, m.Of, m.Values)
	}
	return [sha256.Size]byte(h.Sum(nil))
}

// Measured is the roof re-solved by what was measured on it, with the measures that moved
// it and those that contradict; nil while none speaks of its geometry.
func (s *State) Measured() *takeoff.Remeasured { return s.now.resolved }

// Changes are the materials whose need changed from the first estimate to that of now, and
// why; none before there is a drawing.
func (s *State) Changes() []takeoff.Difference {
	if s.now.drawing == nil {
		return nil
	}
	return takeoff.Compare(s.First(), s.now.drawing.estimate)
}
