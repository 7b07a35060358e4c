package cutplan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// task ties a request to the whole-number instance made of it.
type task struct {
	req    *Request
	in     *instance
	stock  []int   // by kind of bar in the instance: index in the request, -1 for bars that are not there
	free   []bool  // offcuts at hand
	unit   int64   // lengths were divided by it
	ids    [][]int // by size: lines of the request, in order
	priced bool
}

// newTask adds the kerf to pieces and bars (n pieces lose n-1 kerfs, so a bar is as good as one kerf longer), sorts and
// joins the sizes, and divides by the greatest common divisor.
func newTask(req *Request) *task {
	t := &task{req: req, in: &instance{}}
	by := map[int64][]int{}
	var sizes []int64
	for i, p := range req.Pieces {
		w := p.Length + req.Kerf
		if by[w] == nil {
			sizes = append(sizes, w)
		}
		by[w] = append(by[w], i)
	}
	slices.SortFunc(sizes, func(a, b int64) int { return cmp.Compare(b, a) })
	for _, w := range sizes {
		t.unit = gcd(t.unit, w)
		n := int64(0)
		for _, i := range by[w] {
			n += req.Pieces[i].Count
		}
		t.in.w = append(t.in.w, w)
		t.in.d = append(t.in.d, n)
		t.ids = append(t.ids, by[w])
	}
	for i := range t.in.w {
		t.in.w[i] /= t.unit
	}
	t.addStock()
	return t
}

// addStock takes the bars that can hold a piece, each at its cost: its price, or nothing for offcuts at hand, or one.
// Capacities are rounded down to the common divisor, which loses nothing: no sum of pieces lies between.
func (t *task) addStock() {
	others := false // something besides counted stock without a price
	for _, s := range t.req.Stock {
		t.priced = t.priced || s.Price != nil
		others = others || s.Count == nil || s.Price != nil
	}
	pieces := t.in.pieces()
	smallest := t.in.w[len(t.in.w)-1]
	for i, s := range t.req.Stock {
		k := stock{cap: (s.Length + t.req.Kerf) / t.unit, cost: 1, count: unlimited}
		if k.cap < smallest || s.Count != nil && *s.Count == 0 {
			continue
		}
		free := s.Count != nil && s.Price == nil && others
		if s.Price != nil {
			k.cost = *s.Price
		}
		if free {
			k.cost = 0
		}
		if s.Count != nil && *s.Count < pieces {
			k.count = *s.Count
		}
		t.in.stocks = append(t.in.stocks, k)
		t.stock = append(t.stock, i)
		t.free = append(t.free, free)
	}
}

// run solves the instance, and makes sure that there is enough stock.
func (t *task) run(stop func() bool, watch func(Progress)) (result, error) {
	t.dropDominated()
	short := t.addMissing()
	var show func(best, lower int64)
	if watch != nil && short < 0 { // costs of bars that are not there mean nothing to anybody
		show = func(best, lower int64) { watch(Progress{best, lower, t.priced}) }
	}
	r := solve(t.in, stop, show)
	if short >= 0 {
		missing := int64(0)
		for _, u := range r.uses {
			if u.stock == short {
				missing += u.times
			}
		}
		if missing > 0 {
			return r, t.refuseShort(r, missing, t.in.stocks[short])
		}
	}
	if !t.priced && short < 0 {
		r = t.shorter(r, stop)
	}
	return r, nil
}

// dropDominated leaves out unlimited bars that another unlimited one beats in both length and cost. Bars of equal cost
// come back in when the plan is written down (see shorter).
func (t *task) dropDominated() {
	keep := func(a int) bool {
		s := t.in.stocks[a]
		if s.count != unlimited {
			return true
		}
		return !slices.ContainsFunc(t.in.stocks, func(o stock) bool {
			return o.count == unlimited && o.cap >= s.cap && o.cost <= s.cost && (o.cap > s.cap || o.cost < s.cost)
		})
	}
	var in []stock
	var at []int
	var free []bool
	for a := range t.in.stocks {
		if keep(a) && !slices.ContainsFunc(in, func(o stock) bool { return o == t.in.stocks[a] && o.count == unlimited }) {
			in, at, free = append(in, t.in.stocks[a]), append(at, t.stock[a]), append(free, t.free[a])
		}
	}
	t.in.stocks, t.stock, t.free = in, at, free
}

// addMissing adds a kind of bar that is not there, dearer than all stock together, when not every size fits some
// unlimited bar: plans are then possible in any case, and one that needs such a bar tells how many are missing.
func (t *task) addMissing() int {
	longest, all, step := int64(0), int64(0), t.in.step()
	for _, s := range t.in.stocks {
		n := s.count
		if n == unlimited {
			longest = max(longest, s.cap)
			n = t.in.pieces()
		}
		all += s.cost * n
	}
	if longest >= t.in.w[0] {
		return -1
	}
	for _, order := range (&search{in: t.in}).orders() {
		if uses, ok := bestFit(t.in, t.in.d, bars(t.in), order); ok {
			all = min(all, t.in.costOf(uses))
		}
	}
	all += step
	t.in.stocks = append(t.in.stocks, stock{cap: t.in.maxCap(), cost: all, count: unlimited})
	t.stock = append(t.stock, -1)
	t.free = append(t.free, false)
	return len(t.in.stocks) - 1
}

func (t *task) refuseShort(r result, missing int64, s stock) error {
	least := (r.lower + s.cost - 1) / s.cost
	length := Measure{s.cap*t.unit - t.req.Kerf, t.req.Plain}
	want := fmt.Sprintf("%d more bars, each %s long", missing, length)
	if least < missing {
		want = fmt.Sprintf("%d more bars, each %s long, perhaps as few as %d", missing, length, max(least, 0))
	}
	return refuse("stock-short", "stock", fmt.Sprintf("%d kinds, all counted", len(t.req.Stock)), want)
}

// shorter takes, where bars are not priced and several lengths are on offer, the shortest bar for each pattern, and
// looks for a plan of the same number of new bars and less length in all.
func (t *task) shorter(r result, stop func() bool) result {
	whole := newTask(t.req)
	several := 0
	for _, s := range whole.in.stocks {
		if s.cost > 0 && s.count == unlimited {
			several++
		}
	}
	if several < 2 {
		return r
	}
	count := r.cost
	lower := r.lower
	plan := whole.adopt(t, r)
	t.in, t.stock, t.free = whole.in, whole.stock, whole.free
	long := &instance{w: t.in.w, d: t.in.d, stocks: slices.Clone(t.in.stocks)}
	for k := range long.stocks {
		if long.stocks[k].cost > 0 {
			long.stocks[k].cost = long.stocks[k].cap
		}
	}
	if !stop() && r.proven() && long.maxCap() < math.MaxInt64/max(1, t.in.pieces())/4 {
		other := solve(long, stop, nil)
		if t.in.costOf(other.uses) == count && other.cost < long.costOf(plan) {
			plan = other.uses
		}
	}
	return result{packing{plan, count}, lower}
}

// adopt rewrites the uses of a plan made with fewer kinds of bar: each new bar becomes the shortest that holds its cut.
func (t *task) adopt(from *task, r result) []use {
	var out []use
	for _, u := range r.uses {
		best := -1
		for k, s := range t.in.stocks {
			same := t.stock[k] == from.stock[u.stock]
			unlimitedNew := s.count == unlimited && !t.free[k] && from.in.stocks[u.stock].count == unlimited
			if (same || unlimitedNew) && s.cap >= t.in.filled(u.pattern) && (best < 0 || s.cap < t.in.stocks[best].cap) {
				best = k
			}
		}
		u.stock = best
		out = append(out, u)
	}
	return out
}
