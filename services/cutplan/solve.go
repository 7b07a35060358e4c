package cutplan

import "slices"

// result of the search over whole numbers.
type result struct {
	packing
	lower int64 // proven lower bound on the cost
}

func (r result) proven() bool { return r.lower >= r.cost }

// mostSizes is the number of different lengths up to which the relaxation is solved; beyond, one factoring of its basis
// alone would take longer than a time limit may be overrun.
const mostSizes = 2000

// solve plans the bars. It stops early when stop says so and then returns the best plan so far. Everything is
// deterministic but for when stop strikes. show, unless nil, is told of each better plan and bound.
func solve(in *instance, stop func() bool, show func(best, lower int64)) result {
	s := &search{in: in, stop: stop, show: show}
	s.best.cost = int64(1) << 62
	for _, order := range s.orders() {
		if uses, ok := bestFit(in, in.d, bars(in), order); ok {
			s.offer(uses)
		}
		if s.best.uses != nil && stop() {
			break
		}
	}
	s.lower = quickBound(in)
	if s.best.uses != nil && (s.done() || stop()) {
		s.tell()
		return result{s.best, s.lower}
	}
	if uses, ok := cheapFill(in, in.d, bars(in)); ok {
		s.offer(uses)
	}
	s.tell()
	if s.done() {
		return result{s.best, s.lower}
	}
	if len(in.w) > mostSizes {
		return result{s.best, s.lower}
	}
	if len(in.stocks) == 1 {
		if uses, ok := tightFill(in, in.d, 0, &s.ks, stop); ok {
			s.prefer(uses)
		}
		if s.done() {
			return result{s.best, s.lower}
		}
	}
	if len(in.stocks) == 1 && len(in.w) > repackSizes {
		s.repack()
		if s.done() {
			return result{s.best, s.lower}
		}
	}
	s.deepen()
	return result{s.best, s.lower}
}

// deepen dives from the relaxation of the whole, looks through what can be better if that is little, and dives on.
func (s *search) deepen() {
	const before = 3 // dives until the look-through
	m, again := s.relaxAndDive(before)
	if m == nil || s.done() || s.stop() {
		return
	}
	if len(s.in.stocks) > 1 {
		s.mend()
		if s.done() || s.stop() {
			return
		}
	}
	again()
	s.prove(m)
	for departures := before; departures < 30 && !s.done() && !s.stop(); departures++ {
		again()
		s.dive(m, nil, departures)
	}
}

// relaxAndDive solves the relaxation of the whole, first with columns by which a longer size may stand for a shorter one
// (dual cuts; Valério de Carvalho, "Using extra dual cuts to accelerate column generation", 2005), then without, and dives
// with 0, 1, ... departures. It gives the master and a way back to its root; nil when it was stopped.
func (s *search) relaxAndDive(dives int) (m *master, again func()) {
	m = newMaster(s.in, s.stop)
	for _, u := range s.best.uses {
		m.addPattern(u.pattern)
	}
	m.enough = s.lower
	if !m.generate() {
		return nil, nil
	}
	for _, j := range m.swaps {
		m.lp.off[j] = true
	}
	if !m.generate() {
		return nil, nil
	}
	s.lower = max(s.lower, m.floor)
	s.tell()
	root := m.lp.save()
	again = func() {
		m.lp.restore(root)
		copy(m.left, s.in.d)
		m.bars = bars(s.in)
		m.barImproper()
	}
	for departures := range dives {
		if s.done() || s.stop() {
			break
		}
		again()
		s.first = departures == 0
		s.dive(m, nil, departures)
	}
	s.first = false
	return m, again
}

// prove prices the relaxation to the end and looks through all plans that would be cheaper than the best so far, if the
// patterns that can be in one are few enough.
func (s *search) prove(m *master) {
	m.enough, m.full = 0, true
	ok := m.generate()
	m.full = false
	if !ok {
		return
	}
	s.lower = max(s.lower, m.floor)
	if s.done() {
		return
	}
	slack, possible := m.slackUpTo(s.goal())
	if !possible {
		s.lower = s.best.cost
		return
	}
	if patterns, few := m.enumerate(slack); few && s.exhaust(patterns) {
		s.lower = s.best.cost
	}
}

func bars(in *instance) []int64 {
	out := make([]int64, len(in.stocks))
	for t, s := range in.stocks {
		out[t] = s.count
	}
	return out
}

// quickBound for one kind of bar.
func quickBound(in *instance) int64 {
	if len(in.stocks) != 1 || in.stocks[0].count != unlimited {
		return 0
	}
	return max(volumeBound(in), martelloTothBound(in)) * in.stocks[0].cost
}

func volumeBound(in *instance) int64 {
	var sum int64
	for i, w := range in.w {
		sum += w * in.d[i]
	}
	c := in.stocks[0].cap
	return (sum + c - 1) / c
}

// martelloTothBound is L2 of Martello and Toth, "Lower bounds and reduction procedures for the bin packing problem"
// (1990): for a threshold a, pieces over C-a fill a bar each, pieces over C/2 need one each, the rest down to a fills up.
func martelloTothBound(in *instance) int64 {
	c := in.stocks[0].cap
	n := len(in.w)
	count, length := make([]int64, n+1), make([]int64, n+1) // of the first k sizes, the longest
	for i, w := range in.w {
		count[i+1], length[i+1] = count[i]+in.d[i], length[i]+w*in.d[i]
	}
	// over is how many sizes are longer than that.
	over := func(l int64) int {
		k, _ := slices.BinarySearchFunc(in.w, l, func(w, l int64) int {
			if w > l {
				return -1
			}
			return 1
		})
		return k
	}
	half := over(c / 2)
	var best int64
	for k := half; k <= n; k++ {
		a := int64(0)
		if k < n {
			a = in.w[k]
		}
		big := over(c - a)
		mid := max(half-big, 0)
		midRoom := int64(0)
		if mid > 0 {
			midRoom = c*(count[half]-count[big]) - (length[half] - length[big])
		}
		l := count[big]
		if mid > 0 {
			l = count[half]
		}
		end := over(a - 1)
		if small := length[end] - length[max(half, big)]; small > midRoom {
			l += (small - midRoom + c - 1) / c
		}
		best = max(best, l)
	}
	return best
}
