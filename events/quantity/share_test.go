package quantity_test

import (
	"math/big"
	"testing"

	"bydark/events/quantity"

	"pgregory.net/rapid"
)

func TestShare(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Int64Range(0, 1<<60).Draw(t, "a")
		whole := rapid.Int64Range(1, 1<<60).Draw(t, "whole")
		done := rapid.Int64Range(0, whole).Draw(t, "done")
		exact := new(big.Rat).Mul(new(big.Rat).SetInt64(a), big.NewRat(done, whole))
		exact.Add(exact, big.NewRat(1, 2))
		want := new(big.Int).Div(exact.Num(), exact.Denom()).Int64()
		got, err := quantity.OfLength(quantity.Length(a)).Share(quantity.OfArea(quantity.Area(done)), quantity.OfArea(quantity.Area(whole)))
		if err != nil || int64(got.Length()) != want {
			t.Fatalf("%d × %d / %d = %d, %v; want %d", a, done, whole, got.Length(), err, want)
		}
	})
	if _, err := quantity.Pieces(4).Share(quantity.Pieces(1), quantity.OfLength(3)); err == nil {
		t.Error("a share of unlike amounts was given")
	}
	if f := quantity.Fraction(quantity.Pieces(1), quantity.Pieces(4)); f != 0.25 {
		t.Errorf("a quarter is %v", f)
	}
	if f := quantity.Fraction(quantity.Pieces(0), quantity.Pieces(0)); f != 1 {
		t.Errorf("nothing of nothing is %v", f)
	}
}
