package takeoff

import (
	"fmt"
	"math"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/squareness"
)

// Squareness is what a measure says of a plane's corners.
type Squareness struct {
	// SkewDeg is how far the corner is from square.
	SkewDeg float64
	// Run is how far the rake runs out over the plane's slope length, Across how far the
	// eave line does over its width.
	Run, Across quantity.Length
	// Allowed is the most that Run may be by the assembly; Within tells whether it is.
	Allowed quantity.Length
	Within  bool
	// Verdict says what to do, in words.
	Verdict string
}

// fits is how well the diagonals must fit the drawn plane to be those of the plane.
const fits = 0.05

// Square judges a plane by a measure of its diagonals (two values, of the whole plane), or
// of both legs and the diagonal of a right angle laid out on it (three values). Another
// measure, and lengths that make no such figure, give an *events.Refusal.
func (p *Plane) Square(a *assembly.Assembly, m events.MeasureTaken) (Squareness, error) {
	lengths, err := lengthsOf(m)
	if err != nil {
		return Squareness{}, err
	}
	low, high := width(p.sides)
	wide := nanometres(high - low)
	var skew float64
	switch {
	case m.Of == events.OfThreeFourFive && len(lengths) == 3:
		corner, err := squareness.CornerDeg(lengths[0].Metres(), lengths[1].Metres(), lengths[2].Metres())
		if err != nil {
			return Squareness{}, err
		}
		skew = math.Abs(90 - corner)
	case m.Of == events.OfDiagonals && len(lengths) == 2:
		// In a parallelogram the squares of the diagonals are together twice those of the
		// sides, so that the plane's own sides can be told from another figure's.
		d1, d2 := lengths[0].Metres(), lengths[1].Metres()
		drawn, measured := math.Hypot(wide.Metres(), p.Height.Metres()), math.Sqrt((d1*d1+d2*d2)/2)
		if math.Abs(measured-drawn) > fits*drawn {
			return Squareness{}, &events.Refusal{Code: "other-diagonals", Where: "plane " + string(p.Mark), Was: lengths[0].String() + " and " + lengths[1].String(),
				Want: fmt.Sprintf("the diagonals of the whole plane, %s by %s, or a three-four-five with both legs", wide.Nearest(16), p.Height.Nearest(16))}
		}
		if skew, err = squareness.SkewDeg(wide.Metres(), p.Height.Metres(), d1, d2); err != nil {
			return Squareness{}, err
		}
	default:
		return Squareness{}, &events.Refusal{Code: "no-squareness", Where: "plane " + string(p.Mark), Was: fmt.Sprintf("%s with %d values", m.Of, len(lengths)),
			Want: "diagonals with two values, or three-four-five with three"}
	}
	s := Squareness{SkewDeg: skew, Allowed: a.Square}
	s.Run = nanometres(squareness.Taper(float64(p.Height), skew))
	s.Across = nanometres(squareness.Taper(float64(wide), skew))
	s.Within = s.Run <= s.Allowed
	s.Verdict = s.verdict(p)
	return s, nil
}

func (s *Squareness) verdict(p *Plane) string {
	said := fmt.Sprintf("Plane %s is %.2f degrees out of square: %s over the %s slope, %s across the eave; allowed %s over the slope",
		p.Mark, s.SkewDeg, s.Run.Nearest(16), p.Height.Nearest(16), s.Across.Nearest(16), s.Allowed)
	if !s.Within {
		return said + ". Stop: correct the eave line or snap a square reference line and taper the first and the last panel, before any panel is set."
	}
	if n := quantity.Length(len(p.Panels)); n > 0 && s.Run >= Rule {
		return said + fmt.Sprintf(". Go on from a square reference line; the last rake trim takes the taper, or %s in each of %d panels.", (s.Run/n).Nearest(64), n)
	}
	return said + ". Go on."
}

// lengthsOf reads a measure's values as lengths.
func lengthsOf(m events.MeasureTaken) ([]quantity.Length, error) {
	all := make([]quantity.Length, len(m.Values))
	for i, v := range m.Values {
		l, err := quantity.ParseLength(string(v))
		if err != nil || l <= 0 {
			return nil, &events.Refusal{Code: "unreadable-length", Where: fmt.Sprintf("%s, value %d", m.Where, i+1), Was: string(v), Want: "a length above zero with its unit"}
		}
		all[i] = l
	}
	return all, nil
}
