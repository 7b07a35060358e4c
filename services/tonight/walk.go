package tonight

import "slices"

// walk goes through the network with only plans, as the beam does, but with all of them that
// the bound does not rule out: depth first, the most promising arc first. Where it gets to its
// end, the best plan it has met is the best of all. Of all ways to a node with the same jobs
// done only the one that keeps out most goes on.
type walk struct {
	*relaxed
	best  *schedule
	left  int // steps
	after []uint64
	not   []uint64 // the job itself, and those that exclude it
	seen  []visit  // by a spot's hash; a later one takes the place of another
	order []int
	stock []int64
}

// spot is a node, counted from one, and the jobs done on the way to it.
type spot struct {
	set  uint64
	node int32
}

// visit is a spot and the most that a way to it has kept out so far.
type visit struct {
	spot
	worth int64
}

// visitBits says how many visits are remembered.
const visitBits = 18

// hash multiplies by odd numbers near 2^64 over the golden ratio (Knuth) and the like.
func (s spot) hash() uint64 {
	h := s.set*0x9E3779B97F4A7C15 ^ uint64(s.node)*0xC2B2AE3D27D4EB4F
	h ^= h >> 29
	return h * 0xBF58476D1CE4E5B9 >> (64 - visitBits)
}

// mostWalked is how many jobs a walk can tell apart.
const mostWalked = 64

// walkStep is what a spot costs, in steps of effort.
const walkStep = 6

// walkShare is which part of the steps left a walk may take.
const walkShare = 2

// walk improves best, and tells whether it has gone through all plans that may be better.
func (r *relaxed) walk(best *schedule) (*schedule, bool) {
	if r.in.size() > mostWalked || r.bound() <= best.worth {
		return best, r.bound() <= best.worth
	}
	w := newWalk(r, best, (r.effort-r.taken())/walkShare)
	before := w.left
	w.on(0, 0, 0, 0)
	r.spent += before - w.left
	return w.best, w.left > 0
}

func newWalk(r *relaxed, best *schedule, steps int) *walk {
	w := &walk{relaxed: r, best: best, left: steps, seen: make([]visit, 1<<visitBits), stock: slices.Clone(r.in.stock)}
	for j := range r.in.size() {
		w.after = append(w.after, mask(r.in.after[j]))
		w.not = append(w.not, mask(r.in.instead[j])|1<<j)
	}
	return w
}

func mask(jobs []int) uint64 {
	set := uint64(0)
	for _, j := range jobs {
		set |= 1 << j
	}
	return set
}

// on goes on from a node with the jobs in set done: worth is what they keep out, priced the
// same at the present prices.
func (w *walk) on(v int32, set uint64, priced, worth int64) {
	if worth > w.best.worth {
		w.keep(worth)
	}
	arcs := w.of(int(v))
	if len(arcs) == 0 {
		return
	}
	w.left -= walkStep
	if w.left <= 0 {
		return
	}
	if len(arcs) > 1 {
		at := spot{set, v + 1}
		before := &w.seen[at.hash()]
		if before.spot == at && before.worth >= worth {
			return
		}
		*before = visit{at, worth}
	}
	// The best arc first, then the others as they come.
	first := w.pick[v]
	if first >= 0 {
		w.along(w.arcs[first], set, priced, worth)
	}
	for i, a := range arcs {
		if w.first[v]+int32(i) != first {
			w.along(a, set, priced, worth)
		}
	}
}

// along takes an arc, if what it leads to is a plan that may be better.
func (w *walk) along(a arc, set uint64, priced, worth int64) {
	priced += w.gain(&a)
	if priced+w.rest[a.to]+w.fixed <= w.best.worth {
		return
	}
	if a.slot == w.none {
		w.on(a.to, set, priced, worth)
		return
	}
	j := w.job(a)
	if w.after[j]&^set != 0 || w.not[j]&set != 0 || !w.take(j) {
		return
	}
	w.order = append(w.order, j)
	w.on(a.to, set|1<<j, priced, worth+a.worth)
	w.order = w.order[:len(w.order)-1]
	for _, n := range w.in.needs[j] {
		w.stock[n.material] += n.n
	}
}

// take takes what a job needs, if there is enough.
func (w *walk) take(j int) bool {
	for _, n := range w.in.needs[j] {
		if w.stock[n.material] < n.n {
			return false
		}
	}
	for _, n := range w.in.needs[j] {
		w.stock[n.material] -= n.n
	}
	return true
}

func (w *walk) keep(worth int64) {
	s := newSchedule(w.in)
	for _, j := range w.order {
		s.add([]int{j}, w.in.worth(j, s.at+w.in.minutes[j]), w.in.minutes[j])
	}
	w.best = s
}
