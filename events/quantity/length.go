package quantity

import "math"

// Length is a length in nanometres, so that 1/64 in (396,875 nm) and 1 mm are both
// exact. Its zero value is no length; it may be negative, as a coordinate is. It
// holds a little over nine million kilometres each way.
type Length int64

// The units that people write.
const (
	Nanometre  Length = 1
	Millimetre        = 1_000_000 * Nanometre
	Centimetre        = 10 * Millimetre
	Metre             = 1_000 * Millimetre
	Inch              = 25_400_000 * Nanometre
	Foot              = 12 * Inch

	// Sixtyfourth is the finest mark of an inch rule.
	Sixtyfourth = Inch / 64
)

// Millimetres is l as a plain number, for answers whose field name ends in _mm and
// for formulas; never to be added up.
func (l Length) Millimetres() float64 { return float64(l) / float64(Millimetre) }

// Metres is l as a plain number, for formulas.
func (l Length) Metres() float64 { return float64(l) / float64(Metre) }

// Inches is l as a plain number, for formulas and answers.
func (l Length) Inches() float64 { return float64(l) / float64(Inch) }

// Feet is l as a plain number, for formulas and answers.
func (l Length) Feet() float64 { return float64(l) / float64(Foot) }

// LengthOfMetres is the length nearest to m metres. Numbers that no Length holds,
// NaN among them, give false.
func LengthOfMetres(m float64) (Length, bool) {
	nm := math.Round(m * float64(Metre))
	if !(math.Abs(nm) < math.MaxInt64) {
		return 0, false
	}
	return Length(nm), true
}

// RoundUp is the least multiple of step that is not below l: a cut length to the
// next mark of the rule. A step of zero or less gives l.
func (l Length) RoundUp(step Length) Length {
	if step <= 0 {
		return l
	}
	r := l % step
	if r > 0 {
		return l + step - r
	}
	return l - r
}

// Abs is l without its sign.
func (l Length) Abs() Length {
	if l < 0 {
		return -l
	}
	return l
}

// MarshalText gives String.
func (l Length) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText reads what ParseLength reads.
func (l *Length) UnmarshalText(text []byte) error {
	v, err := ParseLength(string(text))
	if err != nil {
		return err
	}
	*l = v
	return nil
}
