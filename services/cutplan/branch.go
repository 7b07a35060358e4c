package cutplan

import (
	"math"
	"slices"
)

// branching searches all plans made of the given patterns for one of cost at most the goal: branch and bound on how often
// a pattern is cut, first once more, then never again. With the patterns of enumerate it is exact. Bounds that cut off a
// branch are certified in whole numbers as everywhere.
type branching struct {
	s     *search
	m     *master
	whole bool // nothing was left out so far
}

// exhaust reports whether all plans of cost at most the goal were looked through; better ones it offers.
func (s *search) exhaust(patterns []pattern) bool {
	b := &branching{s: s, m: newMaster(s.in, s.stop)}
	m := b.m
	// The single-piece columns stay as stand-ins for what the patterns do not cover, dearer than any plan.
	for i := range s.in.w {
		m.pats[i].stock = -1
		m.lp.cost[i] = float64(s.best.cost)/m.unit + 1
	}
	for _, j := range m.swaps {
		m.lp.off[j] = true
	}
	for _, p := range patterns {
		m.addPattern(p)
	}
	m.lp.refactor()
	start := m.lp.save()
	for _, departures := range []int{1, 3, 8, 20, math.MaxInt} {
		m.lp.restore(start)
		copy(m.left, s.in.d)
		m.bars = bars(s.in)
		b.whole = true
		b.node(nil, departures)
		if b.whole || s.done() || s.stop() {
			break
		}
	}
	return b.whole && !s.stop()
}

func (b *branching) node(fixed []use, departures int) {
	m := b.m
	if b.s.done() {
		return
	}
	if !slices.ContainsFunc(m.left, func(n int64) bool { return n > 0 }) {
		b.s.offer(fixed)
		return
	}
	if !m.lp.dual(m.stop) {
		m.lp.fallBack()
	}
	if !m.lp.primal(m.stop) {
		b.whole = false
		return
	}
	spent := b.s.in.costOf(fixed)
	if float64(spent)+m.lp.value()*m.unit > float64(b.s.goal())+1e-6*m.unit && b.certified() > b.s.goal()-spent {
		return
	}
	q, x := int32(-1), 0.0
	for r, j := range m.lp.base {
		if m.pats[j].stock < 0 || m.lp.off[j] || m.lp.x[r] < 1e-7 {
			continue
		}
		part := m.lp.x[r] - math.Floor(m.lp.x[r])
		if m.lp.x[r] >= 1-1e-7 {
			part = 1 + m.lp.x[r]
		}
		if part > x {
			q, x = j, part
		}
	}
	if q < 0 {
		b.whole = false // only rounding ends here
		return
	}
	back := m.lp.save()
	left, bars := slices.Clone(m.left), slices.Clone(m.bars)
	p := m.pats[q]
	times := max(1, int64(x)-1)
	for k, i := range p.item {
		m.left[i] = max(0, m.left[i]-int64(p.n[k])*times)
	}
	if m.bars[p.stock] != unlimited {
		m.bars[p.stock] -= times
	}
	copy(m.lp.rhs, m.rhs(m.lp.m))
	m.lp.refresh()
	b.node(append(fixed[:len(fixed):len(fixed)], use{p, times}), departures)
	if b.s.done() || b.s.stop() {
		b.whole = b.whole && !b.s.stop()
		return
	}
	// Fewer times than that: once less at each step, down to never.
	for n := times - 1; n >= 0; n-- {
		if departures == 0 {
			b.whole = false
			return
		}
		m.lp.restore(back)
		copy(m.left, left)
		copy(m.bars, bars)
		for k, i := range p.item {
			m.left[i] = max(0, m.left[i]-int64(p.n[k])*n)
		}
		if m.bars[p.stock] != unlimited {
			m.bars[p.stock] -= n
		}
		m.lp.off[q] = true
		copy(m.lp.rhs, m.rhs(m.lp.m))
		m.lp.refresh()
		at := fixed[:len(fixed):len(fixed)]
		if n > 0 {
			at = append(at, use{p, n})
		}
		b.node(at, departures-1)
		if b.s.done() || b.s.stop() {
			b.whole = b.whole && !b.s.stop()
			return
		}
	}
}

// certified is the proven bound on the cost of what is left, by patterns that are still allowed.
func (b *branching) certified() int64 {
	m := b.m
	u := m.unit * float64(m.scale)
	for i := range m.y {
		m.y[i] = int64(math.Max(0, m.lp.y[i]) * u)
	}
	for t, s := range m.in.stocks {
		m.z[t] = s.cost * m.scale
		if r := m.stockRow[t]; r >= 0 {
			m.z[t] += int64(math.Ceil(math.Max(0, -m.lp.y[r]) * u))
		}
	}
	for j, p := range m.pats {
		if p.stock < 0 || m.lp.off[j] {
			continue
		}
		v := int64(0)
		for k, i := range p.item {
			v += m.y[i] * int64(p.n[k])
		}
		m.z[p.stock] = max(m.z[p.stock], v)
	}
	return m.certified()
}
