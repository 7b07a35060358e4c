package tonight

import "slices"

// beam goes through the network with only plans, and keeps at each node the few that are
// best at the present prices: a good plan, and often the best one, since the prices say what
// stock and waiting are worth.
type beam struct {
	*relaxed
	width int
	words int // machine words that a set of jobs takes
	// At most width sprouts a node, those of node v from v·width on; count says how many.
	count []int32
	all   []sprout
	sets  []uint64
	used  []int64 // stock, by sprout and material
	after [][]uint64
	not   [][]uint64
}

// sprout is a plan in the making that has come to a node.
type sprout struct {
	from   int32 // the sprout it comes from; −1 at the start
	job    int32 // what it did to come here; −1 for nothing
	priced int64
	worth  int64
}

// Limits of a beam: the sprouts at a node, and in all.
const (
	mostWide    = 6
	mostSprouts = 100_000
)

func newBeam(r *relaxed) *beam {
	n := r.nodes()
	b := &beam{relaxed: r, width: min(mostWide, max(1, mostSprouts/n)), words: (r.in.size() + 63) / 64}
	b.count = make([]int32, n)
	b.all = make([]sprout, n*b.width)
	b.sets = make([]uint64, n*b.width*b.words)
	b.used = make([]int64, n*b.width*len(r.in.stock))
	for j := range r.in.size() {
		b.after = append(b.after, b.setOf(r.in.after[j]))
		b.not = append(b.not, b.setOf(append([]int{j}, r.in.instead[j]...)))
	}
	return b
}

func (b *beam) setOf(jobs []int) []uint64 {
	set := make([]uint64, b.words)
	for _, j := range jobs {
		set[j/64] |= 1 << (j % 64)
	}
	return set
}

// run gives a plan that keeps out more than best, or best.
func (b *beam) run(best *schedule) *schedule {
	b.count[0], b.all[0] = 1, sprout{-1, -1, 0, 0}
	most, found := best.worth, int32(-1)
	b.steps += b.width * 4 * len(b.arcs)
	for v := range b.nodes() {
		for i := int32(v * b.width); i < int32(v*b.width)+b.count[v]; i++ {
			s := b.all[i]
			if s.worth > most {
				most, found = s.worth, i
			}
			for _, a := range b.of(v) {
				next := sprout{i, -1, s.priced + b.gain(&a), s.worth}
				if next.priced+b.rest[a.to]+b.fixed <= best.worth {
					continue
				}
				if a.slot != b.none {
					j := b.job(a)
					if !b.may(i, j) {
						continue
					}
					next.job, next.worth = int32(j), s.worth+a.worth
				}
				b.keep(a.to, next)
			}
		}
	}
	if found < 0 {
		return best
	}
	return b.schedule(found)
}

// may tells whether a job may follow a sprout.
func (b *beam) may(i int32, j int) bool {
	set := b.sets[int(i)*b.words:][:b.words]
	for w, have := range set {
		if b.after[j][w]&^have != 0 || b.not[j][w]&have != 0 {
			return false
		}
	}
	for _, a := range b.in.needs[j] {
		if b.used[int(i)*len(b.in.stock)+a.material]+a.n > b.in.stock[a.material] {
			return false
		}
	}
	return true
}

// keep puts a sprout at a node if it is among the best there.
func (b *beam) keep(v int32, s sprout) {
	base := v * int32(b.width)
	count := b.count[v]
	at := base + count
	if int(count) == b.width {
		at = base
		for i := base + 1; i < base+count; i++ {
			if b.all[i].priced < b.all[at].priced {
				at = i
			}
		}
		if b.all[at].priced >= s.priced {
			return
		}
	}
	set := b.sets[int(s.from)*b.words:][:b.words]
	for i := base; i < base+count; i++ {
		// Another order of the same jobs: the better goes on.
		if b.all[i].priced == s.priced || b.same(i, set, s.job) {
			if b.all[i].worth >= s.worth {
				return
			}
			at = i
			break
		}
	}
	if at == base+count {
		b.count[v]++
	}
	b.all[at] = s
	to := b.sets[int(at)*b.words:][:b.words]
	copy(to, set)
	m := len(b.in.stock)
	copy(b.used[int(at)*m:][:m], b.used[int(s.from)*m:][:m])
	if s.job >= 0 {
		to[s.job/64] |= 1 << (s.job % 64)
		for _, a := range b.in.needs[s.job] {
			b.used[int(at)*m+a.material] += a.n
		}
	}
}

// same tells whether a sprout has done the jobs of set and job.
func (b *beam) same(i int32, set []uint64, job int32) bool {
	for w, have := range b.sets[int(i)*b.words:][:b.words] {
		want := set[w]
		if job >= 0 && int(job)/64 == w {
			want |= 1 << (job % 64)
		}
		if have != want {
			return false
		}
	}
	return true
}

// schedule is the plan of a sprout.
func (b *beam) schedule(i int32) *schedule {
	var jobs []int
	for ; i >= 0; i = b.all[i].from {
		if j := b.all[i].job; j >= 0 {
			jobs = append(jobs, int(j))
		}
	}
	s := newSchedule(b.in)
	for _, j := range slices.Backward(jobs) {
		done := s.at + b.in.minutes[j]
		s.add([]int{j}, b.in.worth(j, done), b.in.minutes[j])
	}
	return s
}
