package quantity

import (
	"math/big"
	"strings"
)

// Shown is the amount as a person reads it: lengths to the nearest 1/16 in, areas to
// the nearest square foot, counts as they are. It does not read back exactly.
func (a Amount) Shown() string {
	switch a.kind {
	case Lengthwise:
		return Length(a.n).Nearest(16)
	case Areal:
		v := new(big.Rat).SetFrac64(a.n, int64(SquareFoot))
		return v.FloatString(0) + " sqft"
	default:
		return strings.TrimSuffix(a.String(), " "+Each)
	}
}
