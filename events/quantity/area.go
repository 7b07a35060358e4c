package quantity

import (
	"math"
	"math/bits"
	"strings"
)

// Area is an area in hundredths of a square millimetre, so that a square inch
// (645.16 mm²), a square foot and a square millimetre are all exact. It holds about
// 92,000 square kilometres each way.
type Area int64

// The units that people write.
const (
	SquareMillimetre Area = 100
	SquareMetre           = 1_000_000 * SquareMillimetre
	SquareInch       Area = 64_516
	SquareFoot            = 144 * SquareInch

	// Square is the roofing trade's square, 100 square feet.
	Square = 100 * SquareFoot
)

// SquareMetres is a as a plain number, for formulas and answers.
func (a Area) SquareMetres() float64 { return float64(a) / float64(SquareMetre) }

// SquareFeet is a as a plain number, for formulas and answers.
func (a Area) SquareFeet() float64 { return float64(a) / float64(SquareFoot) }

// AreaOfSquareMetres is the area nearest to m2 square metres; false when no Area
// holds it.
func AreaOfSquareMetres(m2 float64) (Area, bool) {
	v := math.Round(m2 * float64(SquareMetre))
	if !(math.Abs(v) < math.MaxInt64) {
		return 0, false
	}
	return Area(v), true
}

// Rectangle is the area of a by b, rounded half up to the unit of Area; false when
// it does not fit. Both sides must not be negative.
func Rectangle(a, b Length) (Area, bool) {
	const nm2 = 10_000_000_000 // in one unit of Area
	if a < 0 || b < 0 {
		return 0, false
	}
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	lo, carry := bits.Add64(lo, nm2/2, 0)
	hi += carry
	if hi >= nm2 {
		return 0, false
	}
	q, _ := bits.Div64(hi, lo, nm2)
	if q > math.MaxInt64 {
		return 0, false
	}
	return Area(q), true
}

const areaWant = "an area with its unit, such as 120 sqft, 1.2 squares or 11.15 m2"

var areaUnits = map[string]Area{
	"sqft": SquareFoot, "sq ft": SquareFoot, "ft2": SquareFoot, "ft²": SquareFoot,
	"square feet": SquareFoot, "square foot": SquareFoot,
	"sqin": SquareInch, "sq in": SquareInch, "in2": SquareInch, "in²": SquareInch,
	"m2": SquareMetre, "m²": SquareMetre, "sqm": SquareMetre, "sq m": SquareMetre,
	"mm2": SquareMillimetre, "mm²": SquareMillimetre,
	"square": Square, "squares": Square,
}

// ParseArea reads an area with its unit: square feet (sqft, ft2), square inches,
// square metres (m2), square millimetres, or the trade's squares of 100 square feet.
// It refuses with a *ParseError what has no unit or is finer than the type holds.
func ParseArea(s string) (Area, error) {
	refuse := func(why string) (Area, error) {
		return 0, &ParseError{Kind: "area", Was: clip(s), Why: why, Want: areaWant}
	}
	text, negative := strings.CutPrefix(strings.TrimSpace(s), "-")
	number, rest, ok := scanDecimal(text)
	if !ok {
		return refuse("there is no number at its start")
	}
	unit, ok := areaUnits[strings.TrimSpace(rest)]
	if !ok {
		return refuse("the unit is missing or unknown")
	}
	v, exact, fits := number.times(int64(unit))
	switch {
	case !exact:
		return refuse("it is finer than a hundredth of a square millimetre")
	case !fits:
		return refuse("it is larger than can be held")
	}
	if negative {
		v = -v
	}
	return Area(v), nil
}

// String is the exact area, in square feet where a sixteenth of one divides it, else
// in square metres. ParseArea reads it back.
func (a Area) String() string {
	const sixteenth = SquareFoot / 16
	if a%sixteenth == 0 {
		return printDecimal(int64(a/sixteenth)*625, 4) + " sqft"
	}
	return printDecimal(int64(a), 8) + " m2"
}

// MarshalText gives String.
func (a Area) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// UnmarshalText reads what ParseArea reads.
func (a *Area) UnmarshalText(text []byte) error {
	v, err := ParseArea(string(text))
	if err != nil {
		return err
	}
	*a = v
	return nil
}
