package tonight

import "math"

// A guard watches one job or one material along a path: what has been done with it so far
// is its state. Zero is the state at the start.
type guard interface {
	// next is the state after a job, and whether the job may be done at all.
	next(state int64, job int) (int64, bool)
	// weighs is how much a job can matter to what is watched; nothing for zero.
	weighs(job int) int64
	// settled tells whether nothing that weighs so much in all can break a rule any more.
	settled(state, weight int64) bool
}

// jobGuard keeps a job from being done twice, before what it excludes or after it, and what
// waits for it from being done first.
type jobGuard struct {
	job            int
	waits, exclude []bool
}

// States of a watched job.
const (
	open   = iota // not done
	isDone        // done
	barred        // something is done that excludes it
)

func newJobGuard(in *instance, job int) jobGuard {
	g := jobGuard{job, make([]bool, in.size()), make([]bool, in.size())}
	for _, j := range in.before[job] {
		g.waits[j] = true
	}
	for _, j := range in.instead[job] {
		g.exclude[j] = true
	}
	return g
}

func (g jobGuard) next(state int64, job int) (int64, bool) {
	switch {
	case job == g.job:
		return isDone, state == open
	case g.waits[job] && state != isDone, g.exclude[job] && state == isDone:
		return state, false
	case g.exclude[job]:
		return barred, true
	}
	return state, true
}

func (g jobGuard) weighs(job int) int64 {
	if job == g.job || g.waits[job] || g.exclude[job] {
		return 1
	}
	return 0
}

func (g jobGuard) settled(_, weight int64) bool { return weight == 0 }

// stockGuard keeps a material from being used up twice: its state is what has been used.
type stockGuard struct {
	uses []int64
	have int64
}

func newStockGuard(in *instance, material int) stockGuard {
	g := stockGuard{make([]int64, in.size()), in.stock[material]}
	for j, needs := range in.needs {
		for _, a := range needs {
			if a.material == material {
				g.uses[j] = a.n
			}
		}
	}
	return g
}

func (g stockGuard) next(used int64, job int) (int64, bool) {
	used += g.uses[job]
	return used, used <= g.have
}

func (g stockGuard) weighs(job int) int64 { return g.uses[job] }

func (g stockGuard) settled(used, weight int64) bool { return used+weight <= g.have }

// guardOf is that of a job, or of a material: size+material.
func guardOf(in *instance, w int) guard {
	if w < in.size() {
		return newJobGuard(in, w)
	}
	return newStockGuard(in, w-in.size())
}

// split is a node of the network in one of a guard's states.
type split struct {
	state int64
	sofar int64
	next  int32 // another of the same node; −1 for none
	id    int32
}

// splitter tells the nodes of a network apart by the state of a guard. It is kept for the
// next guard, for its room.
type splitter struct {
	guard
	first  []int32 // those of the network before
	arcs   []arc
	ahead  []int64 // the most that the jobs after a node can weigh
	head   []int32 // the first split of a node; −1 for none
	splits []split
}

// anything is below the length of every path.
const anything = math.MinInt64

// watch sets a guard: it tells the nodes apart by its state, and drops the arcs through which
// no path is longer than worth. It needs rest, and leaves it right.
func (s *strand) watch(g guard, worth int64) {
	n := s.nodes()
	p := &s.split
	p.guard, p.ahead, p.head, p.splits = g, resize(p.ahead, n), resize(p.head, n), p.splits[:0]
	for v := n - 1; v >= 0; v-- {
		p.head[v], p.ahead[v] = -1, 0
		for _, a := range s.of(v) {
			weight := p.ahead[a.to]
			if a.slot != s.none {
				weight += g.weighs(s.job(a))
			}
			p.ahead[v] = max(p.ahead[v], weight)
		}
	}
	p.reach(0, 0, 0)
	first, arcs := p.first[:0], p.arcs[:0]
	for v := range n {
		for i := p.head[v]; i >= 0; i = p.splits[i].next {
			p.splits[i].id = int32(len(first))
			first = append(first, int32(len(arcs)))
			at := p.splits[i]
			for _, a := range s.of(v) {
				state, ok := at.state, true
				if a.slot != s.none {
					if state, ok = g.next(at.state, s.job(a)); !ok {
						continue
					}
				}
				if sofar := at.sofar + s.gain(&a); sofar+s.rest[a.to] > worth {
					a.to = p.reach(a.to, state, sofar)
					arcs = append(arcs, a)
				}
			}
		}
	}
	for i := range arcs {
		arcs[i].to = p.splits[arcs[i].to].id
	}
	s.steps += len(s.arcs) + 4*len(arcs)
	p.first, p.arcs = s.first, s.arcs
	s.first, s.arcs = append(first, int32(len(arcs))), arcs
	s.solve()
}

// reach gives the place of a node's split with a state.
func (p *splitter) reach(v int32, state, sofar int64) int32 {
	if p.settled(state, p.ahead[v]) {
		state = 0
	}
	for i := p.head[v]; i >= 0; i = p.splits[i].next {
		if p.splits[i].state == state {
			p.splits[i].sofar = max(p.splits[i].sofar, sofar)
			return i
		}
	}
	p.splits = append(p.splits, split{state: state, sofar: sofar, next: p.head[v]})
	p.head[v] = int32(len(p.splits) - 1)
	return p.head[v]
}
