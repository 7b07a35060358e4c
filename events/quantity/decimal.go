package quantity

import (
	"strconv"
	"strings"
)

// decimal is a non-negative number as written: digits without the point, and how
// many of them stood behind it.
type decimal struct {
	digits int64
	places int
}

// scanDecimal takes a number off the front of s: digits, and at most one point with
// digits on both sides. It gives the rest, and false when there is none or it is too
// long to hold.
func scanDecimal(s string) (decimal, string, bool) {
	i, point := 0, -1
	for i < len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
		case c == '.' && point < 0 && i > 0:
			point = i
		default:
			goto done
		}
		i++
	}
done:
	if i == 0 || point == i-1 {
		return decimal{}, s, false
	}
	text, places := s[:i], 0
	if point >= 0 {
		fraction := strings.TrimRight(text[point+1:], "0")
		places = len(fraction)
		text = text[:point] + fraction
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return decimal{}, s, false
	}
	return decimal{n, places}, s[i:], true
}

// times gives d*unit when that is a whole number that fits.
func (d decimal) times(unit int64) (value int64, exact, fits bool) {
	digits := d.digits
	for range d.places {
		switch {
		case unit%10 == 0:
			unit /= 10
		case unit%5 == 0 && digits%2 == 0:
			unit, digits = unit/5, digits/2
		case unit%2 == 0 && digits%5 == 0:
			unit, digits = unit/2, digits/5
		default:
			return 0, false, true
		}
	}
	value, fits = mulAdd(0, digits, unit)
	return value, true, fits
}

// printDecimal writes n units of 10^-places without needless zeros.
func printDecimal(n int64, places int) string {
	sign := ""
	u := uint64(n)
	if n < 0 {
		sign, u = "-", -uint64(n)
	}
	s := strconv.FormatUint(u, 10)
	if places == 0 {
		return sign + s
	}
	if len(s) <= places {
		s = strings.Repeat("0", places-len(s)+1) + s
	}
	whole, fraction := s[:len(s)-places], strings.TrimRight(s[len(s)-places:], "0")
	if fraction == "" {
		return sign + whole
	}
	return sign + whole + "." + fraction
}
