package tonight

import (
	"cmp"
	"slices"
)

// network is a graph whose paths are orders of jobs: every best plan is a path through it,
// and some paths break a rule. It has two parts. What is done before the rain keeps out the
// same in any order, so there the jobs come in that of the instance, and a path only takes
// or skips each. Once it rains, of two neighbours the one that keeps out more for its minutes
// comes first (Smith 1956), unless the other waits for it: so there a path takes or skips
// the jobs in Smith's order, and may go back only to a job that waits for the last one.
//
// The nodes are numbered along the arcs, the start is node 0, and a path may end anywhere.
type network struct {
	in    *instance
	first []int32 // the arcs of node v are arcs[first[v]:first[v+1]]
	arcs  []arc
	span  int   // how many slots a job has: one for each minute, or one
	none  int32 // the slot of a skip
}

// arc leads on by doing a job, or by skipping one.
type arc struct {
	to    int32
	slot  int32 // job·span + the minute at which it is done
	worth int64
}

func (g *network) nodes() int { return len(g.first) - 1 }

func (g *network) of(v int) []arc { return g.arcs[g.first[v]:g.first[v+1]] }

// job is the job of an arc that is not a skip, and done the minute at which it is done.
func (g *network) job(a arc) int { return int(a.slot) / g.span }

func (g *network) done(a arc) int { return int(a.slot) % g.span }

// dry is the last minute at which a job is done before it rains: then order does not matter.
func (in *instance) dry() int {
	if in.orderFree() {
		return in.limit
	}
	return in.rain
}

// bySmith gives the jobs in Smith's order, and the place of each in it.
func (in *instance) bySmith() (order, rank []int) {
	order, rank = make([]int, in.size()), make([]int, in.size())
	for j := range order {
		order[j] = j
	}
	slices.SortStableFunc(order, func(i, j int) int {
		return cmp.Compare(in.drip[j]*int64(in.minutes[i]), in.drip[i]*int64(in.minutes[j]))
	})
	for n, j := range order {
		rank[j] = n
	}
	return order, rank
}

// builder makes the network of an instance. Its nodes are, in this order: for each job in
// turn and each minute before the rain, the choice of that job; the jobs under way when the
// rain begins, by job and start; and for each minute of rain, each job just done and each
// choice.
type builder struct {
	*network
	dry         int // the last minute at which a job is done before the rain
	order, rank []int
	under       []start
	wet         int // the first node in the rain
}

// start is a job and the minute at which it begins.
type start struct{ job, at int }

func newNetwork(in *instance) *network {
	b := builder{network: &network{in: in, span: in.limit + 1, none: int32(in.size() * (in.limit + 1))}, dry: in.dry()}
	b.order, b.rank = in.bySmith()
	for j, minutes := range in.minutes {
		for at := max(0, b.dry-minutes+1); at < b.dry && at+minutes <= in.limit; at++ {
			b.under = append(b.under, start{j, at})
		}
	}
	b.wet = (in.size()+1)*(b.dry+1) + len(b.under)
	b.beforeRain()
	b.underWay()
	b.inRain()
	b.first = append(b.first, int32(len(b.arcs)))
	return b.network
}

func (b *builder) node() { b.first = append(b.first, int32(len(b.arcs))) }

func (b *builder) skip(to int) { b.arcs = append(b.arcs, arc{to: int32(to), slot: b.none}) }

// take adds the arc of a job done at a minute, if it can be done then.
func (b *builder) take(job, done, to int) {
	if done < b.in.earliest[job] || done > b.in.limit {
		return
	}
	b.arcs = append(b.arcs, arc{int32(to), int32(job*b.span + done), b.in.worth(job, done)})
}

func (b *builder) beforeRain() {
	n := b.in.size()
	for j := range n {
		for at := range b.dry + 1 {
			b.node()
			if done := at + b.in.minutes[j]; done <= b.dry {
				b.take(j, done, (j+1)*(b.dry+1)+done)
			}
			b.skip((j+1)*(b.dry+1) + at)
		}
	}
	for at := range b.dry {
		b.node()
		for i, s := range b.under {
			if s.at == at {
				b.take(s.job, at+b.in.minutes[s.job], (n+1)*(b.dry+1)+i)
			}
		}
	}
	b.node()
	if b.dry < b.in.limit {
		b.skip(b.choice(0, b.dry))
	}
}

// choice is the node at which, at a minute of rain, the jobs from a place of Smith's order on
// may be done; after that at which a job is just done.
func (b *builder) choice(place, at int) int {
	return b.wet + (at-b.dry)*(2*b.in.size()+1) + b.in.size() + place
}

func (b *builder) after(job, at int) int {
	return b.wet + (at-b.dry)*(2*b.in.size()+1) + job
}

// underWay adds what may come after a job that the rain comes into: what follows it in
// Smith's order, what waits for it, and what would have been done before the rain had it come
// first, unless that is better.
func (b *builder) underWay() {
	for _, s := range b.under {
		b.node()
		end := s.at + b.in.minutes[s.job]
		for j, minutes := range b.in.minutes {
			if b.rank[j] >= b.rank[s.job] || end+minutes > b.in.limit {
				continue
			}
			gain := b.in.swapGain(s.job, j, s.at)
			if gain < 0 || gain == 0 && j > s.job || slices.Contains(b.in.before[s.job], j) {
				b.take(j, end+minutes, b.after(j, end+minutes))
			}
		}
		b.skip(b.choice(b.rank[s.job]+1, end))
	}
}

func (b *builder) inRain() {
	if b.dry >= b.in.limit {
		return
	}
	n := b.in.size()
	for at := b.dry; at <= b.in.limit; at++ {
		for j := range n {
			b.node()
			for _, k := range b.in.before[j] {
				if b.rank[k] < b.rank[j] {
					b.take(k, at+b.in.minutes[k], b.after(k, at+b.in.minutes[k]))
				}
			}
			b.skip(b.choice(b.rank[j]+1, at))
		}
		for place := range n + 1 {
			b.node()
			if place == n {
				continue
			}
			j := b.order[place]
			b.take(j, at+b.in.minutes[j], b.after(j, at+b.in.minutes[j]))
			b.skip(b.choice(place+1, at))
		}
	}
}

// newChoice is a network of what is done at all, whatever the order, and without worth.
func newChoice(in *instance) *network {
	dry := *in
	dry.rain = in.limit
	g := newNetwork(&dry)
	g.in = in
	for i := range g.arcs {
		a := &g.arcs[i]
		a.worth = 0
		if a.slot != g.none {
			a.slot /= int32(g.span)
		} else {
			a.slot = int32(in.size())
		}
	}
	g.span, g.none = 1, int32(in.size())
	return g
}
