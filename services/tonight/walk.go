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
	toll  int // steps that asking for what is lost takes
	after []uint64
	not   []uint64 // the job itself, and those that exclude it
	reach []uint64 // the jobs that may come after a node
	pays  []int64  // beside shares, what they pay at most
	rows  []row
	seen  []visit // by a spot's hash; a later one takes the place of another
	order []int
	stock []int64
}

// row is a rule that has a price, about what is done at all: there is room left in it, and the
// price is lost, where none of the takers is done and all of the givers are.
type row struct {
	takers, givers uint64
	price          int64
}

// way is what has been done on the way to a node.
type way struct {
	set, barred   uint64 // the jobs done, and those that may not be done any more
	worth, priced int64  // what they keep out, and the same at the present prices
	lost          int64
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
const visitBits = 16

// hash mixes a spot's bits by multiplying with odd constants.
func (s spot) hash() uint64 {
	h := s.set*0x9E3779B97F4A7C15 ^ uint64(s.node)*0xC2B2AE3D27D4EB4F
	h ^= h >> 29
	return h * 0xBF58476D1CE4E5B9 >> (64 - visitBits)
}

// mostWalked is how many jobs a walk can tell apart.
const mostWalked = 64

// walkShare is which part of the steps left a walk may take, where a plan has at most mostDeep
// jobs: beyond that there are so many ways that guards do more with the steps, and it takes a
// quarter of that part. walkStep is how many steps a node takes.
const (
	walkShare = 2
	mostDeep  = 24
	walkStep  = 14
)

// walk improves best, and tells whether it has gone through all plans that may be better.
func (r *relaxed) walk(best *schedule) (*schedule, bool) {
	if r.in.size() > mostWalked {
		return best, false
	}
	w := newWalk(r, best)
	steps := (r.effort - r.taken()) / walkShare
	if len(best.order) > mostDeep {
		steps /= 4
	}
	w.left = steps
	w.on(0, way{})
	r.spent += steps - w.left
	return w.best, w.left > 0
}

func newWalk(r *relaxed, best *schedule) *walk {
	w := &walk{relaxed: r, best: best, seen: make([]visit, 1<<visitBits), stock: slices.Clone(r.in.stock), reach: make([]uint64, r.nodes())}
	for j := range r.in.size() {
		w.after = append(w.after, mask(r.in.after[j]))
		w.not = append(w.not, mask(r.in.instead[j])|1<<j)
	}
	for v := r.nodes() - 1; v >= 0; v-- {
		for _, a := range r.of(v) {
			w.reach[v] |= w.reach[a.to]
			if a.slot != r.none {
				w.reach[v] |= 1 << r.job(a)
			}
		}
	}
	for m, s := range r.shares {
		pays := int64(0)
		if !r.guarded[r.in.size()+m] {
			pays = s.solve(s.fees)
			w.toll += len(s.jobs)
		}
		w.pays = append(w.pays, pays)
	}
	for n, rule := range r.rules {
		if r.prices[n] == 0 || !rule.choice {
			continue
		}
		priced := row{price: r.prices[n]}
		for _, t := range rule.terms {
			if t.takes > 0 {
				priced.takers |= 1 << t.job
			} else {
				priced.givers |= 1 << t.job
			}
		}
		w.rows = append(w.rows, priced)
	}
	w.toll += len(w.rows)
	w.toll /= 2
	return w
}

func mask(jobs []int) uint64 {
	set := uint64(0)
	for _, j := range jobs {
		set |= 1 << j
	}
	return set
}

// on goes on from a node.
func (w *walk) on(v int32, at way) {
	if at.worth > w.best.worth {
		w.keep()
	}
	if w.left -= walkStep; w.left <= 0 {
		return
	}
	arcs := w.of(int(v))
	if len(arcs) > 1 {
		here := spot{at.set, v + 1}
		before := &w.seen[here.hash()]
		if before.spot == here && before.worth >= at.worth {
			return
		}
		*before = visit{here, at.worth}
	}
	first := w.pick[v]
	if first >= 0 {
		w.along(w.arcs[first], w.reach[v], at)
	}
	for i, a := range arcs {
		if w.first[v]+int32(i) != first {
			w.along(a, w.reach[v], at)
		}
	}
}

// along takes an arc, if what it leads to may be a better plan; reach is that of the node it
// leads from.
func (w *walk) along(a arc, reach uint64, at way) {
	at.priced += w.gain(&a)
	if !w.hopes(a.to, at) {
		return
	}
	if a.slot == w.none {
		if (reach&^w.reach[a.to])&^at.barred != 0 {
			at.lost = w.lost(a.to, at)
		}
		if w.hopes(a.to, at) {
			w.on(a.to, at)
		}
		return
	}
	j := w.job(a)
	if w.after[j]&^at.set != 0 || at.barred>>j&1 != 0 || !w.take(j) {
		return
	}
	at.set |= 1 << j
	at.barred |= w.not[j]
	at.worth += a.worth
	at.lost = w.lost(a.to, at)
	if w.hopes(a.to, at) {
		w.order = append(w.order, j)
		w.on(a.to, at)
		w.order = w.order[:len(w.order)-1]
	}
	for _, n := range w.in.needs[j] {
		w.stock[n.material] += n.n
	}
}

// hopes tells whether a plan by way of a node may be better than the best.
func (w *walk) hopes(v int32, at way) bool {
	return at.priced+w.rest[v]+w.fixed-at.lost > w.best.worth
}

// lost is how much less the bound may be at a node, given what is done and what cannot be any
// more: shares that pay for something else, and room in rules that nobody takes. What is lost
// on a way stays lost further on.
func (w *walk) lost(v int32, at way) int64 {
	w.left -= w.toll
	may := w.reach[v] &^ at.barred
	sum := int64(0)
	for m, s := range w.shares {
		if !w.guarded[w.in.size()+m] {
			sum += max(0, w.pays[m]-s.boundOf(at.set, may, w.stock[m]))
		}
	}
	for _, r := range w.rows {
		if (at.set|may)&r.takers == 0 && r.givers&^at.set == 0 {
			sum += r.price
		}
	}
	return sum
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

// keep makes the way gone the best plan.
func (w *walk) keep() {
	s := newSchedule(w.in)
	for _, j := range w.order {
		s.add([]int{j}, w.in.worth(j, s.at+w.in.minutes[j]), w.in.minutes[j])
	}
	w.best = s
}
