package cutplan

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// allPatterns lists every way to cut one bar with sizes no oftener than needed: the dumb twin of the knapsack.
func allPatterns(in *instance) [][]float64 {
	var out [][]float64
	a := make([]float64, len(in.w))
	var fill func(i int, room int64)
	fill = func(i int, room int64) {
		if i == len(in.w) {
			out = append(out, append([]float64(nil), a...))
			return
		}
		for n := int64(0); n <= in.d[i] && n*in.w[i] <= room; n++ {
			a[i] = float64(n)
			fill(i+1, room-n*in.w[i])
		}
		a[i] = 0
	}
	fill(0, in.stocks[0].cap)
	return out
}

// relaxed is the bound of the linear relaxation over all patterns, by a general library: max d·y, pattern·y <= 1, y >= 0,
// from the slack basis (gonum.org/v1/gonum/optimize/convex/lp).
func relaxed(t *testing.T, in *instance) float64 {
	t.Helper()
	ps := allPatterns(in)
	m := len(in.w)
	c := make([]float64, m+len(ps))
	for i, d := range in.d {
		c[i] = -float64(d)
	}
	a := mat.NewDense(len(ps), m+len(ps), nil)
	b := make([]float64, len(ps))
	basis := make([]int, len(ps))
	for r, p := range ps {
		for i, n := range p {
			a.Set(r, i, n)
		}
		a.Set(r, m+r, 1)
		b[r] = 1
		basis[r] = m + r
	}
	v, _, err := lp.Simplex(c, a, b, 1e-10, basis)
	if err != nil {
		t.Fatal(err)
	}
	return -v
}

// Ten thousand small relaxations against the general library: the certified bound is the library's value rounded up.
func TestBoundAgainstGeneralLibrary(t *testing.T) {
	const start = 77
	r := rand.New(rand.NewPCG(start, 2))
	for n := range 10_000 {
		in := &instance{stocks: []stock{{cap: 10 + r.Int64N(30), cost: 1, count: unlimited}}}
		for w := in.stocks[0].cap; w > 3 && len(in.w) < 4; w -= 1 + r.Int64N(8) {
			if r.IntN(3) > 0 {
				in.w, in.d = append(in.w, w), append(in.d, 1+r.Int64N(3))
			}
		}
		if len(in.w) == 0 {
			continue
		}
		m := newMaster(in, func() bool { return false })
		for _, j := range m.swaps {
			m.lp.off[j] = true
		}
		m.full = true
		if !m.generate() {
			t.Fatalf("start %d, case %d: not solved: %+v", start, n, in)
		}
		want := relaxed(t, in)
		if math.Abs(m.lp.value()-want) > 1e-7 {
			t.Fatalf("start %d, case %d: value %.9f, the library says %.9f: %+v", start, n, m.lp.value(), want, in)
		}
		if m.floor != int64(math.Ceil(want-1e-7)) {
			t.Fatalf("start %d, case %d: certified %d, the library says %.9f: %+v", start, n, m.floor, want, in)
		}
	}
}
