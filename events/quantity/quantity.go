// Package quantity holds what is measured on a roof: lengths, areas, pitches and
// amounts of material, exact, as whole numbers of a small unit.
//
// Adding unlike things is an error, never a number. Everything parses from what a
// person writes and prints what parses back to the same value. The package is pure
// and its types are plain values, safe for any number of goroutines.
package quantity

import (
	"fmt"
	"math"
	"math/bits"
	"strings"
)

// ParseError tells which text could not be read and what would have been right.
type ParseError struct {
	// Kind is what was being read: "length", "area", "amount" or "pitch".
	Kind string
	// Was is the text as it came, cut at 80 bytes.
	Was string
	// Why says what is wrong with it.
	Why string
	// Want says what would be right.
	Want string
}

// Error is one sentence: what was wrong, where, and what would be right.
func (e *ParseError) Error() string {
	return fmt.Sprintf("%s %q: %s; want %s", e.Kind, e.Was, e.Why, e.Want)
}

func clip(s string) string {
	const most = 80
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}

// mulAdd gives a + b*c and whether it fits an int64.
func mulAdd(a, b, c int64) (int64, bool) {
	if b < 0 || c < 0 || a < 0 {
		return 0, false
	}
	hi, lo := bits.Mul64(uint64(b), uint64(c))
	lo, carry := bits.Add64(lo, uint64(a), 0)
	if hi+carry != 0 || lo > math.MaxInt64 {
		return 0, false
	}
	return int64(lo), true
}

// cross is the sign of a*b - c*d for numbers that are not negative.
func cross(a, b, c, d int64) int {
	h1, l1 := bits.Mul64(uint64(a), uint64(b))
	h2, l2 := bits.Mul64(uint64(c), uint64(d))
	switch {
	case h1 < h2 || h1 == h2 && l1 < l2:
		return -1
	case h1 == h2 && l1 == l2:
		return 0
	}
	return 1
}
