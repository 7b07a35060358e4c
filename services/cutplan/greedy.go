package cutplan

import (
	"cmp"
	"slices"
)

// group is a number of bars filled alike.
type group struct {
	pattern
	room  int64
	count int64
}

// bestFit places the sizes, longest first, each piece into the open bar that it leaves the least room in (best-fit
// decreasing). Alike bars are kept as one group, so that many pieces of few sizes cost no more than few.
// New bars are of the first kind named in order that still has some and is long enough. ok is false when none was.
func bestFit(in *instance, left, bars []int64, order []int) (uses []use, ok bool) {
	bars = slices.Clone(bars)
	var open []*group // rising by room; pointers, since many are moved for each that comes
	insert := func(g group) {
		if g.count == 0 {
			return
		}
		at, _ := slices.BinarySearchFunc(open, g.room, func(o *group, room int64) int { return cmp.Compare(o.room, room) })
		open = slices.Insert(open, at, &g)
	}
	put := func(g group, i int, n, count int64) group {
		p := pattern{g.stock, append(slices.Clone(g.item), int32(i)), append(slices.Clone(g.n), int32(n))}
		return group{p, g.room - n*in.w[i], count}
	}
	for i, w := range in.w {
		need := left[i]
		for need > 0 {
			at, _ := slices.BinarySearchFunc(open, w, func(o *group, w int64) int { return cmp.Compare(o.room, w) })
			var g group
			if at < len(open) {
				g = *open[at]
				open = slices.Delete(open, at, at+1)
			} else {
				t := slices.IndexFunc(order, func(t int) bool { return bars[t] != 0 && in.stocks[t].cap >= w })
				if t < 0 {
					return nil, false
				}
				t = order[t]
				g = group{pattern{stock: t}, in.stocks[t].cap, need}
				if bars[t] != unlimited {
					g.count = min(need, bars[t])
				}
			}
			per := min(g.room/w, need)
			full := min(g.count, need/per)
			rest := need - full*per
			touched := full
			insert(put(g, i, per, full))
			if full < g.count && rest > 0 {
				insert(put(g, i, rest, 1))
				touched++
				rest = 0
			}
			if len(g.item) > 0 {
				insert(group{g.pattern, g.room, g.count - touched})
			} else if bars[g.stock] != unlimited {
				bars[g.stock] -= touched
			}
			need = rest
		}
	}
	for _, g := range open {
		uses = append(uses, use{g.pattern, g.count})
	}
	return uses, true
}

// fillBar fills one bar, longest piece first; bar after bar that gives what first-fit decreasing gives.
func fillBar(in *instance, left []int64, capacity int64) pattern {
	var p pattern
	for i, w := range in.w {
		if left[i] == 0 || w > capacity {
			continue
		}
		n := min(left[i], capacity/w)
		p.item = append(p.item, int32(i))
		p.n = append(p.n, int32(n))
		capacity -= n * w
	}
	return p
}

// cheapFill fills bar after bar and takes each time the kind of bar that costs least for the length it holds.
func cheapFill(in *instance, left, bars []int64) (uses []use, ok bool) {
	left, bars = slices.Clone(left), slices.Clone(bars)
	for {
		longest := slices.IndexFunc(left, func(n int64) bool { return n > 0 })
		if longest < 0 {
			return uses, true
		}
		var best pattern
		bestStock, bestFill := -1, int64(0)
		for t, s := range in.stocks {
			if bars[t] == 0 || s.cap < in.w[longest] && !holdsAny(in, left, s.cap) {
				continue
			}
			p := fillBar(in, left, s.cap)
			f := in.filled(p)
			if bestStock < 0 || float64(s.cost)*float64(bestFill) < float64(in.stocks[bestStock].cost)*float64(f) ||
				s.cost == 0 && in.stocks[bestStock].cost == 0 && s.cap-f < in.stocks[bestStock].cap-bestFill {
				best, bestStock, bestFill = p, t, f
			}
		}
		if bestStock < 0 {
			return nil, false
		}
		best.stock = bestStock
		times := int64(1 << 40)
		for k, i := range best.item {
			times = min(times, left[i]/int64(best.n[k]))
		}
		if bars[bestStock] != unlimited {
			times = min(times, bars[bestStock])
			bars[bestStock] -= times
		}
		for k, i := range best.item {
			left[i] -= int64(best.n[k]) * times
		}
		uses = append(uses, use{best, times})
	}
}

func holdsAny(in *instance, left []int64, capacity int64) bool {
	for i, w := range in.w {
		if left[i] > 0 && w <= capacity {
			return true
		}
	}
	return false
}

// tightFill fills bar after bar: the longest piece left goes in, and with it the pieces that fill the bar best (the
// minimum bin slack heuristic of Gupta and Ho, 1999, with the longest piece fixed as Fleszar and Hindi, 2002, do).
// Only for one unlimited kind of bar.
func tightFill(in *instance, left []int64, t int, ks *knapsack, stop func() bool) ([]use, bool) {
	left = slices.Clone(left)
	capacity := in.stocks[t].cap
	var uses []use
	for i := range in.w {
		for left[i] > 0 {
			if stop() {
				return nil, false
			}
			left[i]--
			p := pattern{stock: t, item: []int32{int32(i)}, n: []int32{1}}
			room := capacity - in.w[i]
			ks.load(in.w, in.w, left, room)
			ks.branch(room, 0, 3000, nil)
			if len(ks.found) > 0 {
				f := ks.found[len(ks.found)-1]
				p.item, p.n = nil, nil
				own := int32(1)
				for k, j := range f.item {
					if int(j) == i {
						own += f.n[k]
						continue
					}
					p.item = append(p.item, j)
					p.n = append(p.n, f.n[k])
				}
				p.item = append(p.item, int32(i))
				p.n = append(p.n, own)
			}
			left[i]++
			times := left[i]
			for k, j := range p.item {
				times = min(times, left[j]/int64(p.n[k]))
			}
			for k, j := range p.item {
				left[j] -= int64(p.n[k]) * times
			}
			uses = append(uses, use{p, times})
		}
	}
	return uses, true
}
