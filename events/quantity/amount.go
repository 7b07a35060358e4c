package quantity

import (
	"fmt"
	"math"
	"strings"
)

// Kind is what an Amount is measured in.
type Kind uint8

// The kinds of an Amount. Count is the zero value.
const (
	// Count is a number of things, each or by the pack, in thousandths.
	Count Kind = iota
	// Lengthwise is a length.
	Lengthwise
	// Areal is an area.
	Areal
)

// String names the kind in words.
func (k Kind) String() string {
	switch k {
	case Lengthwise:
		return "length"
	case Areal:
		return "area"
	default:
		return "count"
	}
}

// Each is the noun of things counted singly.
const Each = "each"

// Amount is how much of a material: a count of a noun ("12 each", "3 rolls"), a
// length or an area. Its zero value is nothing of no noun, which adds to anything.
type Amount struct {
	kind Kind
	n    int64 // thousandths, nanometres or hundredths of a square millimetre
	noun string
}

// Pieces is a whole count of things.
func Pieces(n int64) Amount { return Amount{Count, n * 1000, Each} }

// Packs is a count of packs in thousandths, noun in the singular: "roll".
func Packs(thousandths int64, noun string) Amount { return Amount{Count, thousandths, noun} }

// OfLength is an amount measured by the length.
func OfLength(l Length) Amount { return Amount{Lengthwise, int64(l), ""} }

// OfArea is an amount measured by the area.
func OfArea(a Area) Amount { return Amount{Areal, int64(a), ""} }

// OfSmallest is n of the smallest unit of a kind: nanometres, hundredths of a square
// millimetre, or thousandths of the noun, which lengths and areas have none of.
func OfSmallest(k Kind, n int64, noun string) Amount {
	switch k {
	case Lengthwise:
		return OfLength(Length(n))
	case Areal:
		return OfArea(Area(n))
	default:
		return Packs(n, noun)
	}
}

// Smallest is how many of the smallest unit of its kind a is, as OfSmallest takes it.
func (a Amount) Smallest() int64 { return a.n }

// Kind tells what a is measured in.
func (a Amount) Kind() Kind { return a.kind }

// Noun is what is counted, Each when singly, empty for lengths and areas.
func (a Amount) Noun() string { return a.noun }

// IsZero tells whether there is nothing of it.
func (a Amount) IsZero() bool { return a.n == 0 }

// Sign is -1, 0 or 1.
func (a Amount) Sign() int {
	switch {
	case a.n < 0:
		return -1
	case a.n > 0:
		return 1
	}
	return 0
}

// Length is a's length; zero when a is no length.
func (a Amount) Length() Length {
	if a.kind != Lengthwise {
		return 0
	}
	return Length(a.n)
}

// Area is a's area; zero when a is no area.
func (a Amount) Area() Area {
	if a.kind != Areal {
		return 0
	}
	return Area(a.n)
}

// Thousandths is a's count in thousandths; zero when a is no count.
func (a Amount) Thousandths() int64 {
	if a.kind != Count {
		return 0
	}
	return a.n
}

// Plain is a as a plain number for answers: pieces, millimetres or square metres.
func (a Amount) Plain() float64 {
	switch a.kind {
	case Lengthwise:
		return Length(a.n).Millimetres()
	case Areal:
		return Area(a.n).SquareMetres()
	default:
		return float64(a.n) / 1000
	}
}

// UnlikeError says that two amounts are measured in different things.
type UnlikeError struct{ A, B Amount }

// Error names both.
func (e *UnlikeError) Error() string {
	return fmt.Sprintf("%s and %s are measured in different things and cannot be put together", e.A, e.B)
}

// ErrTooMuch says that a sum is larger than can be held.
var ErrTooMuch = fmt.Errorf("the sum is larger than can be held")

func like(a, b Amount) (kind Kind, noun string, err error) {
	switch {
	case a == Amount{}:
		return b.kind, b.noun, nil
	case b == Amount{}:
		return a.kind, a.noun, nil
	case a.kind != b.kind || a.noun != b.noun:
		return 0, "", &UnlikeError{a, b}
	}
	return a.kind, a.noun, nil
}

// Add is a+b. Unlike amounts give an *UnlikeError, a sum that does not fit
// ErrTooMuch.
func (a Amount) Add(b Amount) (Amount, error) {
	kind, noun, err := like(a, b)
	if err != nil {
		return Amount{}, err
	}
	sum := a.n + b.n
	if (sum > a.n) != (b.n > 0) && b.n != 0 {
		return Amount{}, ErrTooMuch
	}
	return Amount{kind, sum, noun}, nil
}

// Sub is a-b, with the errors of Add.
func (a Amount) Sub(b Amount) (Amount, error) {
	if b.n == math.MinInt64 {
		return Amount{}, ErrTooMuch
	}
	b.n = -b.n
	return a.Add(b)
}

// Cmp is -1, 0 or 1 as a is less than, equal to or more than b; unlike amounts give
// an *UnlikeError.
func (a Amount) Cmp(b Amount) (int, error) {
	if _, _, err := like(a, b); err != nil {
		return 0, err
	}
	switch {
	case a.n < b.n:
		return -1, nil
	case a.n > b.n:
		return 1, nil
	}
	return 0, nil
}

// Neg is -a.
func (a Amount) Neg() Amount {
	a.n = -a.n
	return a
}

const amountWant = `an amount with its unit, such as 40', 12 each, 3 rolls, 120 sqft or 2.5 m2`

// ParseAmount reads a length, an area, or a count with a noun in letters ("12 each",
// "3 rolls", "0.5 box"); counts go down to a thousandth. It refuses anything else
// with a *ParseError.
func ParseAmount(s string) (Amount, error) {
	refuse := func(why string) (Amount, error) {
		return Amount{}, &ParseError{Kind: "amount", Was: clip(s), Why: why, Want: amountWant}
	}
	if l, err := ParseLength(s); err == nil {
		return OfLength(l), nil
	}
	if a, err := ParseArea(s); err == nil {
		return OfArea(a), nil
	}
	text, negative := strings.CutPrefix(strings.TrimSpace(s), "-")
	number, rest, ok := scanDecimal(text)
	noun := strings.TrimSpace(rest)
	switch {
	case !ok:
		return refuse("there is no number at its start")
	case noun == "":
		return refuse("the unit is missing")
	case len(noun) > 24 || strings.Trim(noun, "abcdefghijklmnopqrstuvwxyz-") != "":
		return refuse("the unit is unknown")
	case isMeasure(noun):
		return refuse("it is not exact in that unit or larger than can be held")
	}
	v, exact, fits := number.times(1000)
	switch {
	case !exact:
		return refuse("counts go down to a thousandth")
	case !fits:
		return refuse("it is larger than can be held")
	}
	if negative {
		v = -v
	}
	return Packs(v, noun), nil
}

func isMeasure(noun string) bool {
	unit, _ := scanUnit(noun)
	_, area := areaUnits[noun]
	return unit != 0 || area
}

// String is the exact amount with its unit. ParseAmount reads it back.
func (a Amount) String() string {
	switch {
	case a.kind == Lengthwise:
		return Length(a.n).String()
	case a.kind == Areal:
		return Area(a.n).String()
	case a.noun == "":
		return printDecimal(a.n, 3) + " " + Each
	}
	return printDecimal(a.n, 3) + " " + a.noun
}

// MarshalText gives String.
func (a Amount) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// UnmarshalText reads what ParseAmount reads.
func (a *Amount) UnmarshalText(text []byte) error {
	v, err := ParseAmount(string(text))
	if err != nil {
		return err
	}
	*a = v
	return nil
}
