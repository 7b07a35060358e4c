package squareness_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"bydark/events"
	"bydark/services/squareness"
)

// A corner built at an angle is measured as that angle, by one diagonal and by two.
func TestCornerMeasuresWhatWasBuilt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(1, 1000).Draw(t, "a"), rapid.Float64Range(1, 1000).Draw(t, "b")
		off := rapid.Float64Range(-30, 30).Draw(t, "off")
		corner := (90 + off) * math.Pi / 180
		long := math.Sqrt(a*a + b*b - 2*a*b*math.Cos(corner))
		short := math.Sqrt(a*a + b*b + 2*a*b*math.Cos(corner))
		got, err := squareness.CornerDeg(a, b, long)
		if err != nil || math.Abs(got-90-off) > 1e-5 {
			t.Fatalf("corner %g, %v; built %g", got, err, 90+off)
		}
		skew, err := squareness.SkewDeg(a, b, long, short)
		if err != nil || math.Abs(skew-math.Abs(off)) > 1e-5 {
			t.Fatalf("skew %g, %v; built %g", skew, err, off)
		}
		if d := squareness.Diagonal(a, b); off > 1e-9 && long < d || off < -1e-9 && long > d {
			t.Fatalf("diagonal %g on the wrong side of %g", long, d)
		}
	})
}

func TestCornerRefuses(t *testing.T) {
	for _, c := range [][3]float64{{0, 1, 1}, {1, 0, 1}, {1, 1, 2}, {3, 1, 1}, {1, 1, 0}, {math.NaN(), 1, 1}, {1, 1, math.NaN()}, {-1, 1, 1}} {
		if v, err := squareness.CornerDeg(c[0], c[1], c[2]); events.RefusalIn(err) == nil {
			t.Errorf("%v: %g, %v", c, v, err)
		}
	}
	for _, c := range [][4]float64{{0, 1, 1, 1}, {1, 1, 9, 1}, {1, 1, math.NaN(), 1}} {
		if v, err := squareness.SkewDeg(c[0], c[1], c[2], c[3]); events.RefusalIn(err) == nil {
			t.Errorf("%v: %g, %v", c, v, err)
		}
	}
}
