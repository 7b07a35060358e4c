package quantity

import "strings"

const lengthWant = `a length with its unit, such as 12'-6 3/8", 150.375 in, 12.5 ft, 3819.5 mm or 3.82 m`

// glyphs maps what phones and drawings write to what ParseLength reads. A glyph
// fraction is set off by a space, so that 6⅜ is 6 3/8 and not 63/8.
var glyphs = strings.NewReplacer(
	"′", "'", "’", "'", "″", `"`, "”", `"`, "''", `"`, "−", "-", "–", "-", "\u00a0", " ",
	"½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
)

var lengthUnits = []struct {
	word string
	unit Length
}{
	// Longer words first: "mm" before "m", "feet" before "ft".
	{"millimetres", Millimetre}, {"millimeters", Millimetre}, {"metres", Metre}, {"meters", Metre},
	{"inches", Inch}, {"inch", Inch}, {"feet", Foot}, {"foot", Foot},
	{"mm", Millimetre}, {"cm", Centimetre}, {"ft", Foot}, {"in", Inch}, {"m", Metre},
	{"'", Foot}, {`"`, Inch},
}

// ParseLength reads a length with its unit: feet, inches and fractions down to 1/64
// (12'-6 3/8", 12' 6-3/8", 12′ 6⅜″, 150 3/8 in), decimals (12.5 ft, 150.375 in) and
// metric (3819.5 mm, 382 cm, 3.8195 m); a leading minus makes it negative.
//
// It refuses, with a *ParseError, what is ambiguous or not exact: no unit, twelve
// inches or more beside feet, a fraction of one or more, a comma, an exponent, or
// digits finer than a nanometre.
func ParseLength(s string) (Length, error) {
	p := lengthParser{was: s, rest: strings.TrimSpace(glyphs.Replace(s))}
	return p.parse()
}

type lengthParser struct {
	was, rest string
}

func (p *lengthParser) refuse(why string) (Length, error) {
	return 0, &ParseError{Kind: "length", Was: clip(p.was), Why: why, Want: lengthWant}
}

func (p *lengthParser) parse() (Length, error) {
	if len(p.was) > 64 {
		return p.refuse("it is longer than any length")
	}
	negative := false
	if rest, ok := strings.CutPrefix(p.rest, "-"); ok {
		negative, p.rest = true, strings.TrimLeft(rest, " ")
	}
	first, unit, whole, why := p.part()
	if why != "" {
		return p.refuse(why)
	}
	total := first
	p.rest = strings.TrimLeft(p.rest, " ")
	if unit == Foot && p.rest != "" {
		if !whole {
			return p.refuse("feet with a fraction stand beside inches")
		}
		p.rest = strings.TrimLeft(strings.TrimPrefix(p.rest, "-"), " ")
		inches, second, _, why := p.part()
		switch {
		case why != "":
			return p.refuse(why)
		case second != Inch:
			return p.refuse("what follows the feet is not in inches")
		case inches >= Foot:
			return p.refuse("the inches beside the feet are twelve or more")
		}
		total += inches
		if total < 0 {
			return p.refuse("it is longer than can be held")
		}
		p.rest = strings.TrimLeft(p.rest, " ")
	}
	if p.rest != "" {
		return p.refuse("something follows the length")
	}
	if negative {
		total = -total
	}
	return total, nil
}

// part reads one number, its fraction if any, and its unit.
func (p *lengthParser) part() (value, unit Length, whole bool, why string) {
	number, rest, ok := scanDecimal(p.rest)
	if !ok {
		return 0, 0, false, "there is no number where one should stand"
	}
	top, bottom := int64(0), int64(1)
	switch after := strings.TrimLeft(rest, " "); {
	case strings.HasPrefix(rest, "/"):
		// The number was the top of a fraction that stands alone: 3/8".
		top, bottom, rest, why = p.fraction(number, rest)
		number = decimal{}
	case number.places == 0 && startsFraction(strings.TrimLeft(strings.TrimPrefix(after, "-"), " ")):
		over, tail, _ := scanDecimal(strings.TrimLeft(strings.TrimPrefix(after, "-"), " "))
		top, bottom, rest, why = p.fraction(over, tail)
	}
	if why != "" {
		return 0, 0, false, why
	}
	unit, rest = scanUnit(strings.TrimLeft(rest, " "))
	if unit == 0 {
		return 0, 0, false, "the unit is missing or unknown"
	}
	v, exact, fits := number.times(int64(unit))
	if !exact {
		return 0, 0, false, "it is finer than a nanometre"
	}
	if bottom != 1 {
		if unit != Inch {
			return 0, 0, false, "only inches are written with fractions"
		}
		v, fits = mulAdd(v, top, int64(unit)/bottom)
	}
	if !fits {
		return 0, 0, false, "it is longer than can be held"
	}
	p.rest = rest
	return Length(v), unit, number.places == 0 && bottom == 1, ""
}

func startsFraction(s string) bool {
	_, rest, ok := scanDecimal(s)
	return ok && strings.HasPrefix(rest, "/")
}

func (p *lengthParser) fraction(over decimal, rest string) (top, bottom int64, tail, why string) {
	under, tail, ok := scanDecimal(strings.TrimPrefix(rest, "/"))
	switch {
	case !ok || over.places != 0 || under.places != 0:
		return 0, 1, rest, "the fraction is not two whole numbers"
	case under.digits < 2 || under.digits > 64 || under.digits&(under.digits-1) != 0:
		return 0, 1, rest, "the fraction is not in halves, quarters, eighths, 16ths, 32nds or 64ths"
	case over.digits >= under.digits:
		return 0, 1, rest, "the fraction is one or more"
	}
	return over.digits, under.digits, tail, ""
}

func scanUnit(s string) (Length, string) {
	for _, u := range lengthUnits {
		if rest, ok := strings.CutPrefix(s, u.word); ok && !startsWithLetter(rest) {
			return u.unit, strings.TrimPrefix(rest, ".")
		}
	}
	return 0, s
}

func startsWithLetter(s string) bool {
	return s != "" && (s[0]|0x20 >= 'a' && s[0]|0x20 <= 'z' || s[0] >= 0x80)
}
