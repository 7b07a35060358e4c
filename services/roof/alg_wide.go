package roof

import (
	"math/bits"

	"bydark/events/quantity"
)

// wide is a whole number of 128 bits, two's complement. Products of coordinate
// differences reach 4e26 and an outline's sum of them 1e30, so nothing here overflows.
type wide struct {
	hi int64
	lo uint64
}

func product(a, b int64) wide {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	signed := int64(hi)
	if a < 0 {
		signed -= b
	}
	if b < 0 {
		signed -= a
	}
	return wide{signed, lo}
}

func (w wide) plus(x wide) wide {
	lo, carry := bits.Add64(w.lo, x.lo, 0)
	hi, _ := bits.Add64(uint64(w.hi), uint64(x.hi), carry)
	return wide{int64(hi), lo}
}

func (w wide) minus(x wide) wide {
	lo, borrow := bits.Sub64(w.lo, x.lo, 0)
	hi, _ := bits.Sub64(uint64(w.hi), uint64(x.hi), borrow)
	return wide{int64(hi), lo}
}

func (w wide) sign() int {
	switch {
	case w.hi < 0:
		return -1
	case w.hi == 0 && w.lo == 0:
		return 0
	}
	return 1
}

func (w wide) float() float64 {
	if w.hi < 0 {
		return -wide{}.minus(w).float()
	}
	return float64(w.hi)*0x1p64 + float64(w.lo)
}

// halfArea is half of w square nanometres, w not negative, rounded half up once to
// the unit of Area.
func (w wide) halfArea() quantity.Area {
	const unit = 20_000_000_000 // square nanometres in one unit of Area, doubled
	w = w.plus(wide{0, unit / 2})
	q, _ := bits.Div64(uint64(w.hi), w.lo, unit)
	return quantity.Area(q)
}

// turn is twice the signed area of the triangle: above zero when a, b, c turn left.
func turn(a, b, c Point) wide {
	return product(int64(b.X-a.X), int64(c.Y-a.Y)).minus(product(int64(b.Y-a.Y), int64(c.X-a.X)))
}

// twiceArea is twice the signed area of a ring, above zero when it runs
// counterclockwise.
func twiceArea(ring []Point) wide {
	var sum wide
	for i := 1; i+1 < len(ring); i++ {
		sum = sum.plus(turn(ring[0], ring[i], ring[i+1]))
	}
	return sum
}
