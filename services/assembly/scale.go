package assembly

import (
	"math"
	"math/big"

	"bydark/events"
	"bydark/events/quantity"
)

// scale is a pack's content times a count in thousandths, rounded half up to the
// unit of the amount.
func scale(holds quantity.Amount, thousandths int64) (quantity.Amount, error) {
	v := new(big.Int).Mul(big.NewInt(unitsOf(holds)), big.NewInt(thousandths))
	v.Add(v, big.NewInt(500)).Div(v, big.NewInt(1000))
	if !v.IsInt64() || v.Int64() == math.MinInt64 {
		return quantity.Amount{}, &events.Refusal{Code: "too-much", Was: quantity.Packs(thousandths, "packs").String(), Want: "an amount that fits a roof"}
	}
	switch holds.Kind() {
	case quantity.Lengthwise:
		return quantity.OfLength(quantity.Length(v.Int64())), nil
	case quantity.Areal:
		return quantity.OfArea(quantity.Area(v.Int64())), nil
	default:
		return quantity.Packs(v.Int64(), quantity.Each), nil
	}
}

// unitsOf is an amount in the smallest unit of its kind.
func unitsOf(a quantity.Amount) int64 {
	switch a.Kind() {
	case quantity.Lengthwise:
		return int64(a.Length())
	case quantity.Areal:
		return int64(a.Area())
	default:
		return a.Thousandths()
	}
}
