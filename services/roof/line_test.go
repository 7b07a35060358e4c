package roof_test

import (
	"fmt"
	"math"
	"testing"

	"bydark/services/roof"
)

// Lines across planes whose areas a person reckons: half of a rectangle is half way up, a
// quarter of a triangle with its tip at the ridge is 1 − √¾ of the way up, a trapezium's by
// the quadratic formula.
func TestLineAcross(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		outline string
		share   float64
		want    float64 // feet up a slope of 12/12, √2 in plan
	}{
		{`["0'","0'"],["20'","0'"],["20'","10'"],["0'","10'"]`, 0.5, 5},
		{`["0'","0'"],["20'","0'"],["20'","10'"],["0'","10'"]`, 0, 0},
		{`["0'","0'"],["20'","0'"],["20'","10'"],["0'","10'"]`, 1, 10},
		{`["0'","0'"],["20'","0'"],["10'","10'"]`, 0.25, 10 * (1 - math.Sqrt(0.75))},
		// 20 ft at the eave, 10 at the top: 20·u − u²/2 is half of 150.
		{`["0'","0'"],["20'","0'"],["15'","10'"],["5'","10'"]`, 0.5, 20 - math.Sqrt(400-150)},
	} {
		r, err := roof.Read(fmt.Appendf(nil, `{"name":"one","planes":[{"mark":"A","outline":[%s],"pitch":"12/12","falls_deg":180,"eave_height":"10'"}]}`, c.outline))
		if err != nil {
			t.Fatal(err)
		}
		if got := roof.LineAcross(&r.Planes[0], c.share).Feet(); math.Abs(got-c.want*math.Sqrt2) > 1e-6 {
			t.Errorf("%g of %s: %g ft, want %g", c.share, c.outline, got, c.want*math.Sqrt2)
		}
	}
}
