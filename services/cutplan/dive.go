package cutplan

import (
	"cmp"
	"math"
	"slices"
)

// search holds the best plan and the proven bound while methods work on them.
type search struct {
	in    *instance
	best  packing
	lower int64
	stop  func() bool
	ks    knapsack
	first bool // the first dive need not price to the end
	show  func(best, lower int64)
	told  [2]int64
}

func (s *search) done() bool { return s.best.cost <= s.lower }

// offer takes a plan that covers all demands if it is cheaper.
func (s *search) offer(uses []use) {
	if p := s.in.trimmed(uses); p.cost < s.best.cost {
		s.best = p
		s.tell()
	}
}

// prefer takes a plan that is no dearer: one that leaves its room in few bars is better to
// go on from (see repack).
func (s *search) prefer(uses []use) {
	if p := s.in.trimmed(uses); p.cost <= s.best.cost {
		s.best = p
		s.tell()
	}
}

// goal is the highest cost that would be an improvement.
func (s *search) goal() int64 { return s.best.cost - s.in.step() }

// dive fixes whole patterns, solves the rest again and so on, with at most so many departures from the best-looking
// choice: diving with limited discrepancy (Joncour, Michel, Sadykov, Sverdlov, Vanderbeck, "Column generation based
// primal heuristics", 2010). The master is left in some later state; the caller restores it.
func (s *search) dive(m *master, fixed []use, departures int) {
	if s.stop() || s.done() {
		return
	}
	for {
		m.enough = 0
		if departures == 0 && s.first {
			m.enough = s.lower - s.in.costOf(fixed)
		}
		if !m.generate() || float64(s.in.costOf(fixed))+m.lp.value()*m.unit > float64(s.goal())+1e-6*m.unit {
			return
		}
		whole := m.wholes()
		if len(whole) == 0 {
			break
		}
		for _, w := range whole {
			fixed = append(fixed, use{m.pats[w.col], w.times})
			m.fix(w.col, w.times)
		}
		if !slices.ContainsFunc(m.left, func(n int64) bool { return n > 0 }) {
			s.offer(fixed)
			return
		}
		s.finish(m, fixed)
		if s.done() {
			return
		}
	}
	type choice struct {
		col  int32
		x    float64
		fill int64
	}
	var cs []choice
	for r, j := range m.lp.base {
		if p := m.pats[j]; p.stock >= 0 && !m.lp.off[j] && m.lp.x[r] > 1e-6 && m.proper(p) {
			cs = append(cs, choice{j, m.lp.x[r], s.in.filled(p)})
		}
	}
	slices.SortFunc(cs, func(a, b choice) int {
		if math.Abs(a.x-b.x) > 1e-6 {
			return cmp.Compare(b.x, a.x)
		}
		return cmp.Or(cmp.Compare(b.fill, a.fill), cmp.Compare(a.col, b.col))
	})
	if len(cs) == 0 {
		return
	}
	var back snapshot
	var left, bars []int64
	if departures > 0 {
		back = m.lp.save()
		left, bars = slices.Clone(m.left), slices.Clone(m.bars)
	}
	for k := 0; k <= departures && k < len(cs); k++ {
		if k > 0 {
			m.lp.restore(back)
			copy(m.left, left)
			copy(m.bars, bars)
			m.barImproper()
		}
		m.fix(cs[k].col, 1)
		s.dive(m, append(fixed[:len(fixed):len(fixed)], use{m.pats[cs[k].col], 1}), departures-k)
		if s.done() || s.stop() {
			return
		}
	}
}

// barImproper bars the columns made deeper down that do not suit what is left here (they may: demands were lower there).
func (m *master) barImproper() {
	for j, p := range m.pats {
		if p.stock >= 0 {
			m.lp.off[j] = m.lp.off[j] || !m.proper(p)
		}
	}
}

// finish completes the fixed patterns by simple means.
func (s *search) finish(m *master, fixed []use) {
	for _, order := range s.orders() {
		if uses, ok := bestFit(s.in, m.left, m.bars, order); ok {
			s.offer(append(fixed[:len(fixed):len(fixed)], uses...))
		}
	}
	if uses, ok := cheapFill(s.in, m.left, m.bars); ok {
		s.offer(append(fixed[:len(fixed):len(fixed)], uses...))
	}
}

// orders are the ways to prefer kinds of bar: free ones first, then by price a length, or one kind before all others.
func (s *search) orders() [][]int {
	by := make([]int, len(s.in.stocks))
	for t := range by {
		by[t] = t
	}
	st := s.in.stocks
	slices.SortStableFunc(by, func(a, b int) int {
		if (st[a].cost == 0) != (st[b].cost == 0) {
			return cmp.Compare(min(st[a].cost, 1), min(st[b].cost, 1))
		}
		if st[a].cost == 0 {
			return cmp.Compare(st[a].cap, st[b].cap)
		}
		return cmp.Compare(float64(st[a].cost)*float64(st[b].cap), float64(st[b].cost)*float64(st[a].cap))
	})
	out := [][]int{by}
	for _, t := range by[1:] {
		if st[t].cost > 0 && len(out) < 6 {
			free := slices.IndexFunc(by, func(t int) bool { return st[t].cost > 0 })
			o := slices.Clone(by[:free])
			o = append(o, t)
			for _, u := range by[free:] {
				if u != t {
					o = append(o, u)
				}
			}
			out = append(out, o)
		}
	}
	return out
}

// cut is a column and how often it is taken.
type cut struct {
	col   int32
	times int64
}

// wholes are the columns that the relaxation takes at least once, with the whole part of how often.
func (m *master) wholes() []cut {
	var out []cut
	for r, j := range m.lp.base {
		if m.pats[j].stock < 0 || m.lp.off[j] {
			continue
		}
		if n := int64(math.Floor(m.lp.x[r] + 1e-7)); n > 0 {
			out = append(out, cut{j, n})
		}
	}
	return out
}
