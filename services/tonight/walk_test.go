package tonight

import (
	"math/rand/v2"
	"testing"
)

// At prices that have hardly settled, from no plan at all, and with some guards set, a walk
// still ends with the best of every order of every subset.
func TestWalkEqualsBruteForce(t *testing.T) {
	const seed = 20261125
	t.Logf("seed %d", seed)
	g := rand.New(rand.NewPCG(seed, 1))
	d := func(lo, hi int) int { return lo + g.IntN(hi-lo+1) }
	lost := 0
	for n := range 600 {
		q := anyQuestion(d, d(3, 9), 90)
		in, _, err := prepare(q, false)
		if err != nil {
			t.Fatal(err)
		}
		if in.size() == 0 || in.limit == 0 {
			continue
		}
		r := newRelaxed(in, Usual)
		r.ask()
		if n%2 == 0 {
			r.decompose()
		}
		toward := make([]float64, len(r.prices))
		for range n % 9 {
			r.compare()
			r.step(toward, 1, float64(r.bound()))
			r.ask()
		}
		if n%3 == 0 {
			r.guard(g.IntN(in.size()+len(in.stock)), 0)
		}
		w := newWalk(r, newSchedule(in))
		w.left = Usual
		w.on(0, way{})
		lost += len(w.rows)
		twin := newBruteForce(q)
		twin.walk(0, 0)
		if w.best.worth != twin.best || w.left <= 0 {
			t.Fatalf("question %d: %d µl, best is %d, %d steps left\n%+v", n, w.best.worth, twin.best, w.left, q)
		}
	}
	if lost < 100 {
		t.Errorf("only %d rules have had a price", lost)
	}
}
