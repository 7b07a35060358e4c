package quantity

import (
	"strconv"
	"strings"
)

// String is the exact length: in feet, inches and fractions where 1/64 in divides it
// (12'-6 3/8"), else in millimetres (3819.5 mm). ParseLength reads it back.
func (l Length) String() string {
	if l%Sixtyfourth == 0 {
		return l.feetInches()
	}
	return l.Metric()
}

// Metric is the exact length in millimetres: 3819.5 mm.
func (l Length) Metric() string { return printDecimal(int64(l), 6) + " mm" }

// Nearest is the length in feet, inches and fractions, rounded to the nearest
// 1/denominator inch (a power of two from 1 to 64): what is read off a tape.
func (l Length) Nearest(denominator int64) string {
	step := Inch / Length(denominator)
	half := step / 2
	if l < 0 {
		half = -half
	}
	return ((l + half) / step * step).feetInches()
}

func (l Length) feetInches() string {
	var b strings.Builder
	u := uint64(l)
	if l < 0 {
		b.WriteByte('-')
		u = -uint64(l)
	}
	feet, u := u/uint64(Foot), u%uint64(Foot)
	inches, u := u/uint64(Inch), u%uint64(Inch)
	top, bottom := u/uint64(Sixtyfourth), uint64(64)
	for top != 0 && top%2 == 0 {
		top, bottom = top/2, bottom/2
	}
	if feet != 0 || inches == 0 && top == 0 {
		b.WriteString(strconv.FormatUint(feet, 10))
		b.WriteByte('\'')
		if inches == 0 && top == 0 {
			return b.String()
		}
		b.WriteByte('-')
	}
	if inches != 0 || top == 0 {
		b.WriteString(strconv.FormatUint(inches, 10))
		if top != 0 {
			b.WriteByte(' ')
		}
	}
	if top != 0 {
		b.WriteString(strconv.FormatUint(top, 10))
		b.WriteByte('/')
		b.WriteString(strconv.FormatUint(bottom, 10))
	}
	b.WriteByte('"')
	return b.String()
}
