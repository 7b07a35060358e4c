package cutplan

import (
	"math"
	"math/big"
)

// master is the linear relaxation by patterns of Gilmore and Gomory, "A linear programming approach to the
// cutting-stock problem", Operations Research 9 (1961): one column a pattern, made when its price says that it helps.
// Patterns are proper: no size oftener than it is still needed. left and bars are what remains once patterns were fixed.
type master struct {
	in       *instance
	lp       *simplex
	pats     []pattern // by column; stock -1 for surplus and slack
	left     []int64
	bars     []int64 // counted stock left, unlimited otherwise
	stockRow []int32 // row of a counted stock, -1 otherwise
	unit     float64 // the dearest bar: costs in the LP are parts of it
	scale    int64   // whole-number duals are cost units times scale
	ks       knapsack
	y        []int64 // duals in whole numbers
	z        []int64 // no bar of that stock is worth more under y
	sharp    bool    // z holds for certain, though patterns were found
	full     bool    // price to the end whatever the bounds say
	floor    int64   // proven lower bound on the cost of what is left
	stop     func() bool
	swaps    []int32   // columns by which a longer size may stand for the next shorter one
	centre   []float64 // the prices of the best bound for what is left, if centred
	bound    float64
	centred  bool
	enough   int64 // stop pricing once the relaxation is down to this cost
}

func newMaster(in *instance, stop func() bool) *master {
	m := &master{in: in, stop: stop, left: append([]int64(nil), in.d...)}
	top := int64(1)
	rows := len(in.w)
	for _, s := range in.stocks {
		top = max(top, s.cost)
		m.bars = append(m.bars, s.count)
		if s.count == unlimited {
			m.stockRow = append(m.stockRow, -1)
			continue
		}
		m.stockRow = append(m.stockRow, int32(rows))
		rows++
	}
	m.unit = float64(top)
	m.scale = max(1, (1<<40)/top)
	m.lp = newSimplex(m.rhs(rows))
	m.y = make([]int64, len(in.w))
	m.centre = make([]float64, len(in.w))
	m.z = make([]int64, len(in.stocks))
	base := make([]int32, rows)
	for i := range in.w {
		base[i] = m.addPattern(pattern{stock: m.single(i), item: []int32{int32(i)}, n: []int32{1}})
	}
	for i := range in.w {
		m.pats = append(m.pats, pattern{stock: -1})
		m.lp.add(0, []int32{int32(i)}, []float64{-1})
	}
	for _, r := range m.stockRow {
		if r >= 0 {
			m.pats = append(m.pats, pattern{stock: -1})
			base[r] = m.lp.add(0, []int32{r}, []float64{1})
		}
	}
	for i := 1; i < len(in.w); i++ {
		m.pats = append(m.pats, pattern{stock: -1})
		m.swaps = append(m.swaps, m.lp.add(0, []int32{int32(i - 1), int32(i)}, []float64{-1, 1}))
	}
	m.lp.begin(base)
	return m
}

func (m *master) rhs(rows int) []float64 {
	rhs := make([]float64, rows)
	for i, d := range m.left {
		rhs[i] = float64(d)
	}
	for t, r := range m.stockRow {
		if r >= 0 {
			rhs[r] = float64(m.bars[t])
		}
	}
	return rhs
}

// single is the cheapest unlimited stock that holds size i; newInstance sees to it that there is one.
func (m *master) single(i int) int {
	best := -1
	for t, s := range m.in.stocks {
		if s.count == unlimited && s.cap >= m.in.w[i] && (best < 0 || s.cost < m.in.stocks[best].cost) {
			best = t
		}
	}
	return best
}

func (m *master) addPattern(p pattern) int32 {
	rows := append([]int32(nil), p.item...)
	vals := make([]float64, len(p.n), len(p.n)+1)
	for k, n := range p.n {
		vals[k] = float64(n)
	}
	if r := m.stockRow[p.stock]; r >= 0 {
		rows = append(rows, r)
		vals = append(vals, 1)
	}
	m.pats = append(m.pats, p)
	return m.lp.add(float64(m.in.stocks[p.stock].cost)/m.unit, rows, vals)
}

// generate solves the relaxation of what is left; false when stopped. Then floor is a proven bound, by a certificate in
// whole numbers: duals y, rounded down, under which the knapsack shows that no bar is worth more than z.
func (m *master) generate() bool {
	if !m.lp.dual(m.stop) {
		if m.stop() {
			return false
		}
		m.lp.fallBack()
	}
	m.floor, m.centred = 0, false
	for {
		if !m.lp.primal(m.stop) {
			return false
		}
		grown, sure := m.price()
		if !sure && !grown || m.stop() {
			return false
		}
		if !grown {
			m.floor = m.certified()
			return true
		}
		value := m.lp.value() * m.unit
		if value <= float64(m.enough)+1e-6*m.unit {
			return true
		}
		if m.sharp && !m.full {
			step := float64(m.in.step())
			if f := m.certified(); float64(f) >= math.Ceil(value/step-1e-6)*step {
				m.floor = f
				return true
			}
		}
	}
}

// price looks for patterns that help. sure is false when it was stopped. It first asks at
// prices between the present ones and those of the best bound so far, which swing less and
// so need fewer rounds (Wentges, "Weighted Dantzig-Wolfe decomposition for linear
// mixed-integer programming", 1997), and at the present ones when that finds nothing.
func (m *master) price() (grown, sure bool) {
	if m.centred {
		if grown, sure = m.priceAt(weight); grown || !sure && m.stop() {
			return grown, sure
		}
	}
	return m.priceAt(0)
}

// several patterns are taken up at once.
const several = 6

// weight is how much of the best bound's prices goes into the prices that are asked at.
const weight = 0.7

func (m *master) priceAt(old float64) (grown, sure bool) {
	u := m.unit * float64(m.scale)
	for i := range m.y {
		v := math.Max(0, m.lp.y[i])
		if old > 0 {
			v = (1-old)*v + old*m.centre[i]
		}
		m.y[i] = int64(v * u)
	}
	slack := max(1, int64(u*2e-9))
	sure = true
	m.sharp = true
	for t, s := range m.in.stocks {
		m.z[t] = s.cost*m.scale + slack
		if r := m.stockRow[t]; r >= 0 {
			m.z[t] += int64(math.Ceil(math.Max(0, -m.lp.y[r]) * u))
		}
		if m.bars[t] == 0 {
			continue
		}
		m.ks.load(m.in.w, m.y, m.left, s.cap)
		if m.ks.tooRich() {
			return false, false
		}
		best, certain := m.ks.above(s.cap, m.z[t], m.stop)
		if best == m.z[t] {
			sure = sure && certain
			continue
		}
		m.z[t] = best
		m.sharp = m.sharp && certain
		for k, f := range m.ks.found {
			// The best one, and what was found shortly before it.
			last := len(m.ks.found) - 1 - k
			if last == 0 && old == 0 || last < several && m.helps(t, f) {
				grown = true
				m.addPattern(pattern{t, f.item, f.n})
			}
		}
	}
	m.recentre()
	return grown, sure
}

// helps says that a bar is worth more than it costs at the present prices.
func (m *master) helps(t int, f found) bool {
	v := 0.0
	for k, i := range f.item {
		v += m.lp.y[i] * float64(f.n[k])
	}
	if r := m.stockRow[t]; r >= 0 {
		v += m.lp.y[r]
	}
	return v > float64(m.in.stocks[t].cost)/m.unit+1e-9
}

// recentre keeps the prices asked at if they give the best bound so far.
func (m *master) recentre() {
	if !m.sharp {
		return
	}
	share, bound := 1.0, 0.0
	for t, s := range m.in.stocks {
		if m.bars[t] == unlimited && m.z[t] > 0 {
			share = min(share, float64(s.cost)*float64(m.scale)/float64(m.z[t]))
		}
	}
	for i, d := range m.left {
		bound += float64(d) * float64(m.y[i])
	}
	bound *= share
	for t, s := range m.in.stocks {
		if m.bars[t] != unlimited {
			bound -= float64(m.bars[t]) * max(0, float64(m.z[t])*share-float64(s.cost)*float64(m.scale))
		}
	}
	if m.centred && bound <= m.bound {
		return
	}
	m.centred, m.bound = true, bound
	for i, y := range m.y {
		m.centre[i] = float64(y) / (m.unit * float64(m.scale))
	}
}

// certified is the Lagrangean bound of y in exact arithmetic: scaled by N/D until no unlimited bar is worth more than it
// costs, less what the counted bars are worth beyond their cost; rounded up to what costs can add up to.
func (m *master) certified() int64 {
	return lagrange(m.in, m.left, m.bars, m.y, m.z, m.scale)
}

func lagrange(in *instance, left, bars, y, z []int64, scale int64) int64 {
	num, den := big.NewInt(1), big.NewInt(1)
	for t, s := range in.stocks {
		c := new(big.Int).Mul(big.NewInt(s.cost), big.NewInt(scale))
		zt := big.NewInt(z[t])
		if bars[t] != unlimited || zt.Sign() <= 0 {
			continue
		}
		if new(big.Int).Mul(c, den).Cmp(new(big.Int).Mul(zt, num)) < 0 {
			num, den = c, zt
		}
	}
	sum := new(big.Int)
	for i, d := range left {
		sum.Add(sum, new(big.Int).Mul(big.NewInt(d), big.NewInt(y[i])))
	}
	sum.Mul(sum, num)
	for t, s := range in.stocks {
		if bars[t] == unlimited {
			continue
		}
		over := new(big.Int).Mul(big.NewInt(z[t]), num)
		c := new(big.Int).Mul(big.NewInt(s.cost), big.NewInt(scale))
		over.Sub(over, c.Mul(c, den))
		if over.Sign() > 0 {
			sum.Sub(sum, over.Mul(over, big.NewInt(bars[t])))
		}
	}
	den.Mul(den, big.NewInt(scale))
	if sum.Sign() <= 0 {
		return 0
	}
	// Round up to a multiple of the step between costs.
	step := big.NewInt(in.step())
	den.Mul(den, step)
	sum.Add(sum, den).Sub(sum, big.NewInt(1)).Div(sum, den)
	return sum.Int64() * in.step()
}

// step is the greatest common divisor of the costs: every plan's cost is a multiple of it.
func (in *instance) step() int64 {
	g := int64(0)
	for _, s := range in.stocks {
		g = gcd(g, s.cost)
	}
	return max(g, 1)
}

// fix cuts column j so many times: what is left falls, columns no longer proper are barred.
func (m *master) fix(j int32, times int64) {
	p := m.pats[j]
	for k, i := range p.item {
		m.left[i] = max(0, m.left[i]-int64(p.n[k])*times)
	}
	if m.bars[p.stock] != unlimited {
		m.bars[p.stock] -= times
	}
	copy(m.lp.rhs, m.rhs(m.lp.m))
	for j, p := range m.pats {
		if p.stock < 0 || m.lp.off[j] {
			continue
		}
		if !m.proper(p) {
			m.lp.off[j] = true
		}
	}
	m.lp.refresh()
}

func (m *master) proper(p pattern) bool {
	for k, i := range p.item {
		if int64(p.n[k]) > m.left[i] {
			return false
		}
	}
	return m.bars[p.stock] != 0
}
