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
	v := new(big.Int).Mul(big.NewInt(holds.Smallest()), big.NewInt(thousandths))
	v.Add(v, big.NewInt(500)).Div(v, big.NewInt(1000))
	if !v.IsInt64() || v.Int64() == math.MinInt64 {
		return quantity.Amount{}, &events.Refusal{Code: "too-much", Was: quantity.Packs(thousandths, "packs").String(), Want: "an amount that fits a roof"}
	}
	return quantity.OfSmallest(holds.Kind(), v.Int64(), quantity.Each), nil
}
