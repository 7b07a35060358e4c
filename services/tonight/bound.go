package tonight

import (
	"math"
	"slices"
)

// A rule is one row of what a plan must keep: the sum of its terms is at most room. All
// terms of a rule with room for one are jobs of which one at most is done, or shares of a
// stock.
type rule struct {
	terms []term
	room  int64   // 0 or 1
	unit  float64 // what its sum is measured in, to weigh it against the other rules
}

// term is a job and how much of the room it takes: takes, and later more for each minute
// at which it is done. A stock's share is a fraction.
type term struct {
	job   int
	takes float64
	later int64
}

// rules are the rows that the path through the minutes does not keep by itself. A row
// that another implies is left out, because each one more slows the prices down: of a
// pair that exclude each other neither is done twice, and what waits is done no more
// often than what it waits for.
func rules(in *instance) []rule {
	var all []rule
	once := make([]bool, in.size())
	for j := range in.size() {
		for _, k := range in.after[j] {
			all = append(all, rule{[]term{{j, 1, 0}, {k, -1, 0}}, 0, 1})
			if !in.orderFree() {
				all = append(all, inTime(in, k, j))
			}
			once[j] = true
		}
		for _, k := range in.instead[j] {
			if k > j && !implied(in, j, k) {
				all = append(all, rule{[]term{{j, 1, 0}, {k, 1, 0}}, 1, 1})
				once[j], once[k] = true, true
			}
		}
	}
	for j := range in.size() {
		if !once[j] {
			all = append(all, rule{[]term{{j, 1, 0}}, 1, 1})
		}
	}
	for m, have := range in.stock {
		row := rule{room: 1, unit: 1}
		for j := range in.size() {
			for _, a := range in.needs[j] {
				if a.material == m {
					row.terms = append(row.terms, term{j, float64(a.n) / float64(have) * (1 - 1e-12), 0})
				}
			}
		}
		all = append(all, row)
	}
	return all
}

// inTime is the row that job k is done before j begins, in minutes: with x whether a job is
// done at all, C when, p how long it takes and T the minutes there are,
//
//	C_k ≤ C_j − p_j·x_j + T·(x_k − x_j)
//
// It holds too when only k is done, or neither. Without it the path would do j first.
func inTime(in *instance, k, j int) rule {
	limit := float64(in.limit)
	return rule{[]term{{k, -limit, 1}, {j, float64(in.minutes[j]) + limit, -1}}, 0, limit}
}

// implied tells whether one of the pair waits for a job that excludes the other already.
func implied(in *instance, j, k int) bool {
	for _, pair := range [2][2]int{{j, k}, {k, j}} {
		for _, first := range in.after[pair[0]] {
			if slices.Contains(in.instead[first], pair[1]) {
				return true
			}
		}
	}
	return false
}

// relaxed is an instance in which breaking a rule has a price and is not forbidden
// (Lagrangian relaxation: Fisher 1981). The best plan is then the longest path through
// the minutes (as in the network of Tanaka, Fujikuma and Araki 2009), and its length with
// what the prices take in is above every true plan. Prices are whole microlitres, so the
// bound is exact.
type relaxed struct {
	in     *instance
	rules  []rule
	prices []int64 // beside rules
	net    []int64 // what is added to a job's worth,
	slope  []int64 // and for each minute at which it is done
	fixed  int64   // what the prices take in
	// arcs are, by the minute at which they start, the jobs that may start there in a
	// plan better than the best known.
	arcs [][]int32
	// rest is the most that can be had, at these prices, from a minute on, and which job
	// it starts with (−1: none); other the most that starts with another job. No job
	// follows itself in it, and nobody waits: waiting keeps nothing out.
	rest  []int64
	first []int32
	other []int64
}

func newRelaxed(in *instance) *relaxed {
	r := &relaxed{in: in, rules: rules(in), net: make([]int64, in.size()), slope: make([]int64, in.size()), arcs: make([][]int32, in.limit+1),
		rest: make([]int64, in.limit+1), first: make([]int32, in.limit+1), other: make([]int64, in.limit+1)}
	r.prices = make([]int64, len(r.rules))
	for at := range r.arcs {
		for j, minutes := range in.minutes {
			if done := at + minutes; done <= in.limit && done >= in.earliest[j] {
				r.arcs[at] = append(r.arcs[at], int32(j))
			}
		}
	}
	return r
}

// solve finds the longest path at the present prices; the bound is rest[0] + fixed.
func (r *relaxed) solve() {
	in := r.in
	r.fixed = 0
	clear(r.net)
	clear(r.slope)
	for n, row := range r.rules {
		price := r.prices[n]
		if price == 0 {
			continue
		}
		r.fixed += price * row.room
		for _, t := range row.terms {
			// Rounded down: a sum of shares stays below the whole.
			r.net[t.job] -= int64(math.Floor(float64(price) * t.takes))
			r.slope[t.job] -= price * t.later
		}
	}
	for at := in.limit; at >= 0; at-- {
		best, other, job := int64(0), int64(0), int32(-1)
		for _, j := range r.arcs[at] {
			done := at + in.minutes[j]
			v := r.gain(int(j), done) + r.after(j, done)
			switch {
			case v > best:
				best, other, job = v, best, j
			case v > other:
				other = v
			}
		}
		r.rest[at], r.other[at], r.first[at] = best, other, job
	}
}

// gain is the worth of job j done at minute done, at the present prices.
func (r *relaxed) gain(j, done int) int64 {
	return r.in.worth(j, done) + r.net[j] + r.slope[j]*int64(done)
}

// after is the most that can be had when job j is done at minute done.
func (r *relaxed) after(j int32, done int) int64 {
	if r.first[done] == j {
		return r.other[done]
	}
	return r.rest[done]
}

func (r *relaxed) bound() int64 { return r.rest[0] + r.fixed }

// path is the longest path's jobs; a job may stand in it more than once.
func (r *relaxed) path() []int {
	var jobs []int
	last := int32(-1)
	for at := 0; ; {
		j := r.first[at]
		if j >= 0 && j == last {
			j = r.second(at)
		}
		if j < 0 {
			return jobs
		}
		jobs = append(jobs, int(j))
		at += r.in.minutes[j]
		last = j
	}
}

// second is the job that other starts with at a minute, −1 for none.
func (r *relaxed) second(at int) int32 {
	for _, j := range r.arcs[at] {
		done := at + r.in.minutes[j]
		if j != r.first[at] && r.other[at] > 0 && r.gain(int(j), done)+r.after(j, done) == r.other[at] {
			return j
		}
	}
	return -1
}

// prune drops the arcs that no plan keeping out more than worth goes through: the longest
// path through such an arc is not longer.
func (r *relaxed) prune(worth int64) {
	in := r.in
	const never = -1 << 62
	sofar := make([]int64, in.limit+1)
	for at := range sofar {
		sofar[at] = never
	}
	sofar[0] = 0
	for at := range in.limit {
		if sofar[at] == never {
			r.arcs[at] = r.arcs[at][:0]
			continue
		}
		kept := r.arcs[at][:0]
		for _, j := range r.arcs[at] {
			done := at + in.minutes[j]
			v := sofar[at] + r.gain(int(j), done)
			if v+r.after(j, done)+r.fixed > worth {
				kept = append(kept, j)
				sofar[done] = max(sofar[done], v)
			}
		}
		r.arcs[at] = kept
	}
}

// tighten lowers the bound by subgradient steps from the prices that stand, and tries the
// paths that it meets as plans; it stops when bound and plan meet or after some rounds.
func (r *relaxed) tighten(best *schedule, rounds int) *schedule {
	in := r.in
	r.prune(best.worth)
	r.solve()
	kept, keptPrices := r.bound(), slices.Clone(r.prices)
	way := make([]float64, len(r.rules))
	pace, stale := 1.0, 0
	for round := range rounds {
		if kept <= best.worth || pace < 1e-3 {
			break
		}
		path := r.path()
		if round%32 == 31 {
			r.prune(best.worth)
			r.solve()
			kept = min(kept, r.bound())
			path = r.path()
		}
		if round%8 == 0 {
			if s := follow(in, path); s.worth > best.worth {
				best = s
			}
		}
		if !r.step(path, way, pace, float64(r.bound()-best.worth)) {
			// The path keeps every rule: it is a plan, and the best.
			if s := follow(in, path); s.worth > best.worth {
				best = s
			}
			break
		}
		r.solve()
		if r.bound() < kept {
			kept, stale = r.bound(), 0
			copy(keptPrices, r.prices)
			continue
		}
		if stale++; stale >= 20 {
			pace, stale = pace*0.7, 0
			copy(r.prices, keptPrices)
			clear(way)
			r.solve()
		}
	}
	copy(r.prices, keptPrices)
	r.solve()
	r.prune(best.worth)
	r.solve()
	return best
}

// step moves the prices against the rules that the path breaks, by Polyak's length along
// a way that keeps some of the steps before (Camerini, Fratta and Maffioli 1975); false
// when the path breaks none.
func (r *relaxed) step(path []int, way []float64, pace, gap float64) bool {
	times := make([]float64, r.in.size())
	dones := make([]float64, r.in.size()) // minutes at which it is done, added up
	at := 0
	for _, j := range path {
		at += r.in.minutes[j]
		times[j]++
		dones[j] += float64(at)
	}
	broken := false
	length := 0.0
	for n, row := range r.rules {
		over := -float64(row.room)
		for _, t := range row.terms {
			over += t.takes*times[t.job] + float64(t.later)*dones[t.job]
		}
		over /= row.unit
		if over < 0 && r.prices[n] == 0 {
			over = 0 // kept, and costs nothing already
		}
		broken = broken || over != 0
		way[n] = over + 0.6*way[n]
		length += way[n] * way[n]
	}
	if !broken || length == 0 {
		return broken
	}
	stride := pace * gap / length
	for n := range way {
		r.prices[n] = max(0, r.prices[n]+int64(math.Round(stride*way[n]/r.rules[n].unit)))
	}
	return true
}
