package cutplan

import "math/big"

const (
	mostPatterns = 40_000
	mostSteps    = 60_000_000
)

// slackUpTo is how much the patterns of any plan of cost at most goal can lose together against what bars are worth at
// most under the duals y (whole numbers): Σ x·(z - value) <= goal·scale + Σ excess of z over cost - Σ d·y. A pattern that
// loses more is in no such plan (reduced-cost fixing). It reports false when there is no such plan at all.
func (m *master) slackUpTo(goal int64) (int64, bool) {
	sum := new(big.Int).Mul(big.NewInt(goal), big.NewInt(m.scale))
	for t, s := range m.in.stocks {
		n := m.in.pieces()
		if s.count != unlimited {
			n = min(n, s.count)
		}
		if s.cost > 0 {
			n = min(n, goal/s.cost)
		}
		excess := new(big.Int).Sub(big.NewInt(m.z[t]), new(big.Int).Mul(big.NewInt(s.cost), big.NewInt(m.scale)))
		if excess.Sign() > 0 {
			sum.Add(sum, excess.Mul(excess, big.NewInt(n)))
		}
	}
	for i, d := range m.in.d {
		sum.Sub(sum, new(big.Int).Mul(big.NewInt(d), big.NewInt(m.y[i])))
	}
	if sum.Sign() < 0 {
		return 0, false
	}
	if !sum.IsInt64() || sum.Int64() > 1<<61 {
		return 1 << 61, true
	}
	return sum.Int64(), true
}

// enumerate lists the maximal patterns that lose at most slack. Plans need no others: a bar that has room for a piece more
// may as well cut it twice. It reports false when there are too many.
func (m *master) enumerate(slack int64) (out []pattern, ok bool) {
	steps := 0
	for t, s := range m.in.stocks {
		e := enumeration{stock: t, least: m.z[t] - slack, out: out, steps: &steps, stop: m.stop}
		e.load(m.in, m.y, s.cap)
		if !e.from(0, s.cap, 0) {
			return nil, false
		}
		out = e.out
	}
	return out, true
}

type enumeration struct {
	knapsack
	stock int
	least int64
	out   []pattern
	steps *int
	stop  func() bool
}

// load is the knapsack's, with worthless sizes kept: they fill bars too.
func (e *enumeration) load(in *instance, y []int64, capacity int64) {
	e.knapsack.load(in.w, y, in.d, capacity)
	for i, w := range in.w {
		if y[i] <= 0 && w <= capacity {
			e.items = append(e.items, priced{w, 0, int32(min(in.d[i], capacity/w)), int32(i), 0})
		}
	}
	e.x = make([]int32, len(e.items))
}

func (e *enumeration) from(i int, room, value int64) bool {
	*e.steps++
	if *e.steps > mostSteps || len(e.out) > mostPatterns || *e.steps&0xfff == 0 && e.stop() {
		return false
	}
	if i == len(e.items) {
		e.keepMaximal(room, value)
		return true
	}
	it := &e.items[i]
	if value+int64(float64(room)*it.eff)+1 < e.least {
		return true
	}
	for n := min(int64(it.b), room/it.w); n >= 0; n-- {
		e.x[i] = int32(n)
		if !e.from(i+1, room-n*it.w, value+n*it.v) {
			return false
		}
	}
	e.x[i] = 0
	return true
}

func (e *enumeration) keepMaximal(room, value int64) {
	if value < e.least {
		return
	}
	var p pattern
	for k, it := range e.items {
		if e.x[k] < it.b && it.w <= room {
			return
		}
	}
	for k, it := range e.items {
		if e.x[k] > 0 {
			p.item = append(p.item, it.id)
			p.n = append(p.n, e.x[k])
		}
	}
	p.stock = e.stock
	e.out = append(e.out, p)
}
