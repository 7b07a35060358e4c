package cutplan

import (
	"math/rand/v2"
	"testing"
)

// slowL2 is the bound of Martello and Toth as the paper writes it: all pieces for every
// threshold.
func slowL2(in *instance) int64 {
	c := in.stocks[0].cap
	best := int64(0)
	for a := int64(0); a <= c/2; a++ {
		var big, mid, midRoom, small int64
		for i, w := range in.w {
			switch {
			case w > c-a:
				big += in.d[i]
			case 2*w > c:
				mid += in.d[i]
				midRoom += (c - w) * in.d[i]
			case w >= a:
				small += w * in.d[i]
			}
		}
		l := big + mid
		if small > midRoom {
			l += (small - midRoom + c - 1) / c
		}
		best = max(best, l)
	}
	return best
}

func TestMartelloTothBound(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 1990))
	for n := range 10_000 {
		in := &instance{stocks: []stock{{cap: 2 + r.Int64N(60), cost: 1, count: unlimited}}}
		for w := in.stocks[0].cap; w > 0; w -= 1 + r.Int64N(9) {
			in.w, in.d = append(in.w, w), append(in.d, 1+r.Int64N(4))
		}
		if got, want := martelloTothBound(in), slowL2(in); got != want {
			t.Fatalf("case %d: %d, want %d: %+v", n, got, want, in)
		}
	}
}
