package quantity

import (
	"math"
	"testing"
)

func TestShown(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		of   Amount
		want string
	}{
		{Amount{}, "0"},
		{Pieces(12), "12"},
		{Packs(-20_065, Each), "-20.1"},
		{Packs(20_049, Each), "20"},
		{Packs(1_203_871, Each), "1203.9"},
		{Packs(999_950, "roll"), "1000 roll"},
		{Packs(65, Each), "0.065"}, // not "0": something is there
		{Packs(-1, Each), "-0.001"},
		{Packs(math.MaxInt64, Each), "9223372036854775.8"},
		{Packs(math.MinInt64, Each), "-9223372036854775.8"},
		{OfLength(6*Foot + 1), "6'"},
		{OfArea(671*SquareFoot + 1), "671 sqft"},
	} {
		if got := c.of.Shown(); got != c.want {
			t.Errorf("%s is shown as %q; want %q", c.of, got, c.want)
		}
	}
}
