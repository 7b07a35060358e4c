package takeoff

import (
	"cmp"
	"math"
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roof"
)

// Where a plane's panels start, as one looks up the slope.
const (
	// FromLeft and FromRight begin with a whole panel at that side.
	FromLeft  = "left"
	FromRight = "right"
	// Centred cuts the first and the last panel alike.
	Centred = "centred"
)

// Start says where the panels of one plane start. Its zero value leaves it to the rule:
// at the side with the longer rake; where both are alike, at the side that takes less
// metal.
type Start struct {
	// From is left, right, centred, or the mark of an edge at one of the two sides.
	From string
	// Match is a plane whose seams these meet on the edge between them. The panels then
	// start at From, or at that edge, with whatever width the first one gets.
	Match roof.PlaneMark
}

// strip is one panel's width of a plane.
type strip struct{ left, right float64 }

// width is the extent of a plane along the eave.
func width(sides []side) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range sides {
		low, high = min(low, sides[i].a.u), max(high, sides[i].b.u)
	}
	return low, high
}

// strips divides the width from low to high into strips of the cover in order of setting.
// A last strip narrower than least is avoided by a first one that is cut as much as the
// last, which is the shift; a rest under a hair widens the last strip.
func strips(low, high, cover, least float64, from string) (all []strip, shift float64) {
	whole := math.Floor((high - low + hair) / cover)
	rest := high - low - whole*cover
	first := cover
	if rest > hair && whole > 0 && (rest < least || from == Centred) {
		if half := (cover + rest) / 2; half >= least || from == Centred {
			first, shift = half, cover-half
		}
	}
	return cut(low, high, cover, first, from), shift
}

// cut divides the width into strips, the first of a width of its own.
func cut(low, high, cover, first float64, from string) []strip {
	all := make([]strip, 0, int((high-low)/cover)+2)
	for k, begin := 0, 0.0; high-low-begin > hair || k == 0; k++ {
		end := first + float64(k)*cover
		if high-low-end <= hair {
			end = high - low
		}
		if from == FromRight {
			right := high - begin
			if k == 0 {
				right = high
			}
			left := high - end
			if end == high-low {
				left = low
			}
			all = append(all, strip{left, right})
		} else {
			right := low + end
			if end == high-low {
				right = high
			}
			all = append(all, strip{low + begin, right})
		}
		begin = end
	}
	return all
}

// rakeAt is how long the rake at one side of the plane is.
func rakeAt(sides []side, u float64) float64 {
	sum := 0.0
	for i := range sides {
		s := &sides[i]
		if s.kind == roof.Rake && math.Abs(s.a.u-u) <= hair && math.Abs(s.b.u-u) <= hair {
			sum += math.Abs(s.b.v - s.a.v)
		}
	}
	return sum
}

// chooseStart is the rule for a plane whose start nobody chose. It does not depend on
// left and right where the plane does not: of two starts that take the same metal in the
// same panels either will do.
func chooseStart(l *lay) string {
	left, right := rakeAt(l.sides, l.low), rakeAt(l.sides, l.high)
	switch {
	case left > right+hair:
		return FromLeft
	case right > left+hair:
		return FromRight
	}
	a, b := l.lengths(FromLeft), l.lengths(FromRight)
	if c := cmp.Compare(sum(a), sum(b)); c != 0 {
		if c < 0 {
			return FromLeft
		}
		return FromRight
	}
	if slices.Compare(a, b) <= 0 {
		return FromLeft
	}
	return FromRight
}

func sum(lengths []quantity.Length) quantity.Length {
	var all quantity.Length
	for _, l := range lengths {
		all += l
	}
	return all
}

// fromEdge is the side at which an edge lies.
func fromEdge(l *lay, mark events.Place) (string, bool) {
	for i := range l.sides {
		s := &l.sides[i]
		if s.place == mark {
			if (s.a.u + s.b.u) <= l.low+l.high {
				return FromLeft, true
			}
			return FromRight, true
		}
	}
	return "", false
}
