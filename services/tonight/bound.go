package tonight

import "math"

// prices are the multipliers of a Lagrangian relaxation, in microlitres: what a job costs
// for being done once (once), what a job pays the one it waits for (wait), what a pair of
// which only one may be done costs (pair), what the whole stock of a material costs
// (stock). With the rules priced and not kept, the best plan is the longest path through
// the minutes, and its length plus what the prices take in is above every true plan.
//
// They are whole numbers, so the bound is exact: Fisher, The Lagrangian Relaxation Method
// (1981); over minutes as in the network of Tanaka, Fujikuma and Araki (2009).
type prices struct {
	once  []int64
	wait  [][]int64 // beside instance.after
	pair  [][]int64 // beside instance.instead, only where the other comes later
	stock []int64
}

func noPrices(in *instance) prices {
	p := prices{once: make([]int64, in.size()), wait: make([][]int64, in.size()), pair: make([][]int64, in.size()), stock: make([]int64, len(in.stock))}
	for j := range in.size() {
		p.wait[j] = make([]int64, len(in.after[j]))
		p.pair[j] = make([]int64, len(in.instead[j]))
	}
	return p
}

// relaxed is an instance under prices.
type relaxed struct {
	in    *instance
	p     prices
	net   []int64 // what is added to a job's worth
	fixed int64   // what the prices take in
	// rest is the most that can be had, at these prices, from a minute on.
	rest []int64
	next []int // the job that rest does first from there, −1 to wait a minute
}

func newRelaxed(in *instance) *relaxed {
	return &relaxed{in: in, p: noPrices(in), net: make([]int64, in.size()), rest: make([]int64, in.limit+1), next: make([]int, in.limit+1)}
}

// solve finds the longest path at the present prices; the bound is rest[0] + fixed.
func (r *relaxed) solve() {
	in := r.in
	r.fixed = 0
	for j := range r.net {
		r.net[j] = -r.p.once[j]
		r.fixed += r.p.once[j]
	}
	for j := range r.net {
		for n, k := range in.after[j] {
			r.net[j] -= r.p.wait[j][n]
			r.net[k] += r.p.wait[j][n]
		}
		for n, k := range in.instead[j] {
			if k > j {
				r.net[j] -= r.p.pair[j][n]
				r.net[k] -= r.p.pair[j][n]
				r.fixed += r.p.pair[j][n]
			}
		}
		for _, a := range in.needs[j] {
			// Rounded down: a sum of shares stays below the whole.
			r.net[j] -= int64(math.Floor(float64(r.p.stock[a.material]) * float64(a.n) / float64(in.stock[a.material]) * (1 - 1e-12)))
		}
	}
	for _, s := range r.p.stock {
		r.fixed += s
	}
	r.rest[in.limit], r.next[in.limit] = 0, -1
	for at := in.limit - 1; at >= 0; at-- {
		best, job := r.rest[at+1], -1
		for j, minutes := range in.minutes {
			done := at + minutes
			if done > in.limit || done < in.earliest[j] {
				continue
			}
			if v := in.night[j] + in.drip[j]*int64(in.limit-max(done, in.rain)) + r.net[j] + r.rest[done]; v > best {
				best, job = v, j
			}
		}
		r.rest[at], r.next[at] = best, job
	}
}

func (r *relaxed) bound() int64 { return r.rest[0] + r.fixed }

// path is the longest path's jobs; a job may stand in it more than once.
func (r *relaxed) path() []int {
	var jobs []int
	for at := 0; at < r.in.limit; {
		j := r.next[at]
		if j < 0 {
			at++
			continue
		}
		jobs = append(jobs, j)
		at += r.in.minutes[j]
	}
	return jobs
}

// tighten lowers the bound by subgradient steps, and tries the paths that it meets as
// plans; it stops when bound and plan meet or after some rounds.
func tighten(in *instance, best *schedule, rounds int) (*relaxed, *schedule) {
	r := newRelaxed(in)
	r.solve()
	kept, keptPrices := r.bound(), r.p.clone()
	pace, stale := 1.0, 0
	for round := range rounds {
		if kept <= best.worth || pace < 1e-4 {
			break
		}
		path := r.path()
		if round%8 == 0 {
			if s := follow(in, path); s.worth > best.worth {
				best = s
			}
		}
		if !r.step(path, pace, float64(r.bound()-best.worth)) {
			// The path keeps every rule: it is a plan, and the best.
			if s := follow(in, path); s.worth > best.worth {
				best = s
			}
			break
		}
		r.solve()
		if r.bound() < kept {
			kept, keptPrices, stale = r.bound(), r.p.clone(), 0
			continue
		}
		if stale++; stale >= 12 {
			pace, stale = pace/2, 0
			r.p = keptPrices.clone()
			r.solve()
		}
	}
	r.p = keptPrices
	r.solve()
	return r, best
}

func (p prices) clone() prices {
	c := prices{once: append([]int64(nil), p.once...), stock: append([]int64(nil), p.stock...)}
	for j := range p.wait {
		c.wait = append(c.wait, append([]int64(nil), p.wait[j]...))
		c.pair = append(c.pair, append([]int64(nil), p.pair[j]...))
	}
	return c
}

// step moves the prices against the rules that the path breaks, by Polyak's length; false
// when it breaks none.
func (r *relaxed) step(path []int, pace, gap float64) bool {
	in := r.in
	times := make([]float64, in.size())
	for _, j := range path {
		times[j]++
	}
	used := make([]float64, len(in.stock))
	for _, j := range path {
		for _, a := range in.needs[j] {
			used[a.material] += float64(a.n) / float64(in.stock[a.material])
		}
	}
	// Slack below zero is a broken rule; slack above zero lowers a price that is there.
	length := 0.0
	visit := func(move func(price *int64, slack float64)) {
		for j := range times {
			move(&r.p.once[j], 1-times[j])
			for n, k := range in.after[j] {
				move(&r.p.wait[j][n], times[k]-times[j])
			}
			for n, k := range in.instead[j] {
				if k > j {
					move(&r.p.pair[j][n], 1-times[j]-times[k])
				}
			}
		}
		for m := range used {
			move(&r.p.stock[m], 1-used[m])
		}
	}
	visit(func(price *int64, slack float64) {
		if slack < 0 || *price > 0 {
			length += slack * slack
		}
	})
	if length == 0 {
		return false
	}
	stride := pace * gap / length
	visit(func(price *int64, slack float64) {
		if slack < 0 || *price > 0 {
			*price = max(0, *price-int64(math.Round(stride*slack)))
		}
	})
	return true
}
