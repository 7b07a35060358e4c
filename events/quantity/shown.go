package quantity

import (
	"math/big"
	"strings"
)

// Shown is the amount as a person reads it: lengths to the nearest 1/16 in, areas to
// the nearest square foot, counts to a tenth. It does not read back exactly.
func (a Amount) Shown() string {
	switch a.kind {
	case Lengthwise:
		return Length(a.n).Nearest(16)
	case Areal:
		v := new(big.Rat).SetFrac64(a.n, int64(SquareFoot))
		return v.FloatString(0) + " sqft"
	default:
		// A share of a count is no thing to hold: a tenth tells enough, but for what is less.
		if a.n >= 100 || a.n <= -100 {
			rest := a.n % 100
			if a.n -= rest; rest >= 50 || rest <= -50 {
				a.n += 100 * int64(a.Sign())
			}
		}
		return strings.TrimSuffix(a.String(), " "+Each)
	}
}
