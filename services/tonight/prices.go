package tonight

import (
	"math"
	"slices"
)

// relaxed is an instance of which every question is asked by itself, and the answers need not
// agree: what to do when (the path through the network), what to do at all (the choice), and
// who gets each material (the shares). What they disagree in has a price (Lagrangian
// decomposition: Guignard and Kim 1987), and so has what a path does against the rules that
// it does not keep by itself (relaxation: Fisher 1981). The answers together are above every
// true plan at any prices; prices are whole microlitres, so that the bound is exact.
//
// Where prices do not close the gap, a guard is set on a job or a material: the nodes of the
// network are told apart by what the way to them has done with it, so that no path breaks its
// rules any more (successive sublimation: Ibaraki and Nakamura 1994; Tanaka, Fujikuma and
// Araki 2009). With every guard set only plans are left, so that this ends with the best.
type relaxed struct {
	*strand
	in      *instance
	choice  *strand // nil where it is not asked
	effort  int     // steps that may be taken; spent are those on what is no longer asked
	spent   int
	shares  []*share
	rules   []rule
	guarded []bool // jobs, then materials
	broken  []int  // beside rules, how often it was broken lately
	// prices are those of the rules, then what a job pays to each share, in their order, then
	// what it pays to be chosen.
	prices []int64
	fixed  int64 // what the prices take in
	// off is what the last answers disagree in, beside prices; seen the path that they are
	// about, and done when it does each job.
	off  []float64
	seen []arc
	done [][]int
}

func newRelaxed(in *instance, effort int) *relaxed {
	r := &relaxed{effort: effort, strand: newStrand(newNetwork(in)), in: in, rules: rules(in), guarded: make([]bool, in.size()+len(in.stock)), done: make([][]int, in.size())}
	r.broken = make([]int, len(r.rules))
	n := len(r.rules)
	for m := range in.stock {
		r.shares = append(r.shares, newShare(in, m))
		n += len(r.shares[m].jobs)
	}
	r.prices = make([]int64, n+in.size())
	r.off = make([]float64, len(r.prices))
	return r
}

// ask solves every question at the present prices.
func (r *relaxed) ask() {
	r.fixed = 0
	clear(r.net)
	for i, row := range r.rules {
		price := r.prices[i]
		if price == 0 {
			continue
		}
		r.fixed += price * row.room
		for _, t := range row.terms {
			if t.by >= 0 {
				r.net[t.job*r.span+t.by] -= price * t.takes
			}
		}
	}
	fees := r.prices[len(r.rules):]
	for m, s := range r.shares {
		if !r.guarded[r.in.size()+m] {
			r.fixed += s.solve(fees[:len(s.jobs)])
			for i, j := range s.jobs {
				r.net[j*r.span+r.in.limit] -= fees[i]
			}
		}
		fees = fees[len(s.jobs):]
	}
	if r.choice != nil {
		copy(r.choice.net, fees)
		r.choice.solve()
		r.fixed += r.choice.rest[0]
		for j, fee := range fees {
			r.net[j*r.span+r.in.limit] -= fee
		}
	}
	for j := range r.in.size() {
		sum := int64(0)
		row := r.net[j*r.span:][:r.span]
		for at := len(row) - 1; at >= 0; at-- {
			sum += row[at]
			row[at] = sum
		}
	}
	r.solve()
}

func (r *relaxed) bound() int64 { return r.rest[0] + r.fixed }

// taken are the steps so far.
func (r *relaxed) taken() int {
	steps := r.spent + r.steps
	if r.choice != nil {
		steps += r.choice.steps
	}
	return steps
}

// tired tells whether the effort is spent.
func (r *relaxed) tired() bool { return r.taken() >= r.effort }

// mostChoices bounds the arcs of the choice's network. Where more would be needed to keep
// every rule in it, it is not asked.
const mostChoices = 5_000

// decompose begins to ask for the choice, at the prices that its rules had.
func (r *relaxed) decompose() {
	if r.in.dry() >= r.in.limit {
		return // the path is the choice
	}
	c := newStrand(newChoice(r.in))
	c.solve()
	for j := range r.in.size() {
		if len(r.in.before[j])+len(r.in.instead[j]) > 0 {
			c.watch(newJobGuard(r.in, j), anything)
			c.shrink(int32(len(c.arcs)))
			c.solve()
		}
		if len(c.arcs) > mostChoices {
			r.spent += c.steps
			return
		}
	}
	r.choice = c
	fees := r.chosen()
	for i, row := range r.rules {
		if row.choice {
			for _, t := range row.terms {
				fees[t.job] += r.prices[i] * t.takes
			}
			r.prices[i] = 0
		}
	}
	r.ask()
}

// chosen are the prices that jobs pay to be chosen.
func (r *relaxed) chosen() []int64 { return r.prices[len(r.prices)-r.in.size():] }

// pruneAll drops what no plan keeping out more than worth goes through.
func (r *relaxed) pruneAll(worth int64) {
	if r.choice != nil {
		r.choice.prune(worth - r.bound() + r.choice.rest[0])
	}
	r.prune(worth - r.fixed)
}

// guard sets one on a job, or on a material: size+material.
func (r *relaxed) guard(w int, worth int64) {
	r.guarded[w] = true
	for n := range r.rules {
		if r.isKept(n) {
			r.prices[n] = 0
		}
	}
	clear(r.broken)
	r.ask()
	r.watch(guardOf(r.in, w), worth-r.fixed)
	if !slices.Contains(r.guarded[:r.in.size()], false) {
		// Every path keeps what the choice is about.
		if r.choice != nil {
			r.spent += r.choice.steps
			r.choice = nil
		}
		clear(r.chosen())
		r.ask()
	}
}

// isKept tells whether the guards make every path keep the rule.
func (r *relaxed) isKept(n int) bool {
	for _, j := range r.rules[n].jobs {
		if !r.guarded[j] {
			return false
		}
	}
	return true
}

// compare finds what the last answers disagree in, and whether they do.
func (r *relaxed) compare() bool {
	r.seen = r.path(r.seen)
	for j := range r.done {
		r.done[j] = r.done[j][:0]
	}
	for _, a := range r.seen {
		r.done[r.job(a)] = append(r.done[r.job(a)], r.network.done(a))
	}
	clear(r.off)
	differ := false
	for n, row := range r.rules {
		over := row.over(r.done)
		if over > 0 {
			r.broken[n]++
		}
		if r.isKept(n) || over < 0 && r.prices[n] == 0 || r.choice != nil && row.choice {
			continue
		}
		r.off[n] = float64(over)
		differ = differ || over != 0
	}
	off := r.off[len(r.rules):]
	for m, s := range r.shares {
		for i, j := range s.jobs {
			if r.guarded[r.in.size()+m] {
				break
			}
			o := len(r.done[j])
			if s.gets[i] {
				o--
			}
			off[i] = float64(o)
			differ = differ || o != 0
		}
		off = off[len(s.jobs):]
	}
	if r.choice != nil {
		for j, times := range r.done {
			off[j] = float64(len(times))
		}
		for _, a := range r.choice.path(nil) {
			off[a.slot]--
		}
		for _, o := range off {
			differ = differ || o != 0
		}
	}
	return differ
}

// tighten lowers the bound by subgradient steps from the prices that stand, and tries the
// paths that it meets as plans; it stops when bound and plan meet or after some rounds.
//
// A step goes by Polyak's length along a way that keeps some of the steps before (Camerini,
// Fratta and Maffioli 1975).
func (r *relaxed) tighten(best *schedule, rounds int) *schedule {
	r.ask()
	r.pruneAll(best.worth)
	kept, keptPrices := r.bound(), slices.Clone(r.prices)
	way := make([]float64, len(r.prices))
	pace, stale := 1.0, 0
	for round := range rounds {
		if kept <= best.worth || pace < 1e-3 || r.tired() {
			break
		}
		if round%8 == 7 {
			r.pruneAll(best.worth)
		}
		differ := r.compare()
		if round%4 == 0 || !differ {
			if s := follow(r.in, r.network, r.seen); s.worth > best.worth {
				best = s
			}
		}
		if !differ {
			break // the path keeps every rule: it is a plan, and the best
		}
		r.step(way, pace, float64(r.bound()-best.worth))
		r.ask()
		if r.bound() < kept {
			kept, stale = r.bound(), 0
			copy(keptPrices, r.prices)
			continue
		}
		if stale++; stale >= 8 {
			pace, stale = pace*0.6, 0
			copy(r.prices, keptPrices)
			clear(way)
			r.ask()
		}
	}
	copy(r.prices, keptPrices)
	r.ask()
	r.pruneAll(best.worth)
	return best
}

// step moves the prices against what the answers disagree in.
func (r *relaxed) step(way []float64, pace, gap float64) {
	length := 0.0
	for n, off := range r.off {
		way[n] = off + 0.6*way[n]
		length += way[n] * way[n]
	}
	if length == 0 {
		return
	}
	stride := pace * gap / length
	for n := range r.rules {
		if !r.isKept(n) {
			r.prices[n] = max(0, r.prices[n]+int64(math.Round(stride*way[n])))
		}
	}
	for n := len(r.rules); n < len(way); n++ {
		r.prices[n] += int64(math.Round(stride * way[n]))
	}
}

// worst is the job or material to set the next guard on: what the paths broke most often of
// late; −1 when every guard is set.
func (r *relaxed) worst() int {
	r.compare()
	found, most := -1, 0
	for n, row := range r.rules {
		if r.broken[n] > most {
			for _, j := range row.jobs {
				if !r.guarded[j] {
					found, most = j, r.broken[n]
				}
			}
		}
	}
	if found < 0 {
		found = slices.Index(r.guarded, false)
	}
	return found
}
