package tonight

import (
	"cmp"
	"slices"
)

// search goes through the plans that the bound does not rule out, depth first, the most
// promising first. Two things keep it short besides the bound: of all orders of the same
// jobs only the best goes on (seen), and no order goes on in which swapping the last two
// would be better, or as good and nearer to the order of the instance.
type search struct {
	in     *instance
	r      *relaxed
	best   *schedule
	steps  int // left
	free   bool
	after  []uint64
	not    []uint64 // jobs that exclude it
	open   [][]bool // open[j][done]: a better plan may have j done at that minute
	latest []int    // last open minute of a job
	single []uint64 // beside the rules, the jobs of those with room for one
	seen   map[uint64]visit
	order  []int
	stock  []int64
	kids   [][]kid // one list a depth, reused
}

type visit struct {
	worth      int64
	inversions int
}

type kid struct {
	job   int
	bound int64
}

// prove improves best until nothing better is left, and tells whether it got to the end
// within the steps.
func prove(in *instance, r *relaxed, best *schedule, steps int) (*schedule, bool) {
	if r.bound() <= best.worth {
		return best, true
	}
	s := &search{in: in, r: r, best: best, steps: steps, free: in.orderFree(), seen: map[uint64]visit{}, stock: slices.Clone(in.stock)}
	for j := range in.size() {
		s.after = append(s.after, mask(in.after[j]))
		s.not = append(s.not, mask(in.instead[j]))
	}
	for _, row := range r.rules {
		jobs := uint64(0)
		if row.room == 1 {
			for _, t := range row.terms {
				jobs |= 1 << t.job
			}
		}
		s.single = append(s.single, jobs)
	}
	s.kids = make([][]kid, in.size()+1)
	s.spread()
	s.visit(0, 0, 0, 0, 0, -1)
	return s.best, s.steps > 0
}

// spread notes at which minutes a job may be done in a plan that beats the best.
func (s *search) spread() {
	for range s.in.minutes {
		s.open = append(s.open, make([]bool, s.in.limit+1))
		s.latest = append(s.latest, -1)
	}
	for at, jobs := range s.r.arcs {
		for _, j := range jobs {
			done := at + s.in.minutes[j]
			s.open[j][done], s.latest[j] = true, max(s.latest[j], done)
		}
	}
}

// visit goes on from the jobs in set, done at minute at: worth is what they keep out,
// priced the same with their net prices.
func (s *search) visit(set uint64, at int, worth, priced int64, inverted, last int) {
	if worth > s.best.worth {
		s.keep(worth, at)
	}
	in := s.in
	lost := s.lost(set, at, last)
	kids := s.kids[len(s.order)][:0]
	for j := range in.minutes {
		s.steps--
		done := at + in.minutes[j]
		if set>>j&1 == 1 || done > in.limit || !s.open[j][done] || s.after[j]&^set != 0 || s.not[j]&set != 0 {
			continue
		}
		if last >= 0 && s.after[j]>>last&1 == 0 {
			gain := in.swapGain(last, j, at-in.minutes[last])
			if gain > 0 || gain == 0 && j < last {
				continue
			}
		}
		bound := priced + s.r.gain(j, done) + s.r.after(int32(j), done) + s.r.fixed - lost
		if bound > s.best.worth && s.inStock(j) {
			kids = append(kids, kid{j, bound})
		}
	}
	slices.SortStableFunc(kids, func(a, b kid) int { return cmp.Compare(b.bound, a.bound) })
	s.kids[len(s.order)] = kids
	for _, k := range kids {
		if s.steps <= 0 {
			return
		}
		if k.bound <= s.best.worth {
			continue
		}
		j := k.job
		done := at + in.minutes[j]
		v := visit{worth + in.worth(j, done), inverted + inversions(set, j)}
		if !s.free {
			// Without rain the swap rule alone leaves one order a set.
			before, ok := s.seen[set|1<<j]
			if ok && (before.worth > v.worth || before.worth == v.worth && before.inversions <= v.inversions) {
				continue
			}
			s.seen[set|1<<j] = v
		}
		s.take(j, -1)
		s.order = append(s.order, j)
		s.visit(set|1<<j, done, v.worth, priced+s.r.gain(j, done), v.inversions, j)
		s.order = s.order[:len(s.order)-1]
		s.take(j, 1)
	}
}

// lost is the price that the bound counts for rules none of whose jobs can come any more.
func (s *search) lost(set uint64, at, last int) int64 {
	gone := uint64(0)
	for j := range s.in.minutes {
		if set>>j&1 == 0 && (s.latest[j] < at+s.in.minutes[j] || s.free && j < last) {
			gone |= 1 << j
		}
	}
	var lost int64
	for n, jobs := range s.single {
		if jobs != 0 && jobs&^gone == 0 {
			lost += s.r.prices[n]
		}
	}
	return lost
}

func (s *search) inStock(j int) bool {
	for _, a := range s.in.needs[j] {
		if s.stock[a.material] < a.n {
			return false
		}
	}
	return true
}

func (s *search) take(j int, sign int64) {
	for _, a := range s.in.needs[j] {
		s.stock[a.material] += sign * a.n
	}
}

func (s *search) keep(worth int64, at int) {
	s.best = &schedule{in: s.in, order: slices.Clone(s.order), at: at, worth: worth}
}
