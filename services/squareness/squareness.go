// Package squareness judges whether a plane was laid out square, from a tape alone:
// two legs and a diagonal, or two diagonals. All lengths are in one unit of the
// caller's choosing; the formulas are plain geometry and hold for any size.
package squareness

import (
	"fmt"
	"math"

	"bydark/events"
)

func cannotBe(where string, was float64, want string) error {
	return &events.Refusal{Code: "out-of-range", Where: where, Was: fmt.Sprint(was), Want: want}
}

// Diagonal is what the diagonal of a square-cornered a by b measures: sqrt(a² + b²). The
// carpenters' 3-4-5 and 6-8-10 are cases of it (Miller, The Carpenters' Guide).
func Diagonal(a, b float64) float64 { return math.Hypot(a, b) }

// CornerDeg is the corner between legs a and b whose ends lie diagonal apart, by the law
// of cosines; 90 is square. Legs that are not above zero, or three lengths that make no
// triangle, are an *events.Refusal.
func CornerDeg(a, b, diagonal float64) (float64, error) {
	switch {
	case !(a > 0):
		return 0, cannotBe("a", a, "a leg above zero")
	case !(b > 0):
		return 0, cannotBe("b", b, "a leg above zero")
	case !(diagonal > math.Abs(a-b) && diagonal < a+b):
		return 0, cannotBe("diagonal", diagonal,
			fmt.Sprintf("a diagonal between %g and %g, or the three make no triangle", math.Abs(a-b), a+b))
	}
	return math.Acos((a*a+b*b-diagonal*diagonal)/(2*a*b)) * 180 / math.Pi, nil
}

// SkewDeg is how far the corners of a parallelogram a by b are from square when its
// diagonals measure d1 and d2, zero when they are equal: d1² − d2² = 4ab · sin(skew).
func SkewDeg(a, b, d1, d2 float64) (float64, error) {
	if !(a > 0) || !(b > 0) {
		return 0, cannotBe("a, b", math.Min(a, b), "legs above zero")
	}
	sine := (d1*d1 - d2*d2) / (4 * a * b)
	if !(math.Abs(sine) <= 1) {
		return 0, cannotBe("d1, d2", d1-d2, "diagonals that this a by b can have")
	}
	return math.Abs(math.Asin(sine)) * 180 / math.Pi, nil
}

// Taper is how far a line runs out over length when its corner is skewDeg off square.
func Taper(length, skewDeg float64) float64 { return length * math.Tan(skewDeg*math.Pi/180) }
