package cutplan

import (
	"cmp"
	"slices"
)

const (
	repackSizes  = 80 // fewer sizes are as quickly solved whole
	repackRounds = 6  // without success
	repackGap    = 6  // bars above the bound at most
	repackBars   = 24 // that many at least, and a quarter more than the emptiest ones
	repackMost   = 80
)

// repack takes the emptiest bars of the best plan, until their rooms add up to a bar, and some of the others, a different
// part each round, and plans the pieces of these bars anew: a small problem that is quickly solved and often saves the one
// bar too many (large neighbourhood search; Shaw, "Using constraint programming and local search methods to solve vehicle
// routing problems", 1998). For one unlimited kind of bar.
func (s *search) repack() {
	only := s.in.stocks[0]
	if s.best.cost-s.lower > repackGap*only.cost {
		return // the relaxation shows sooner where so much is to be gained
	}
	spare := s.lower / max(1, only.cost) * only.cap
	for i, w := range s.in.w {
		spare -= w * s.in.d[i]
	}
	if spare < only.cap/100 && s.in.w[len(s.in.w)-1]*8 > only.cap {
		return // all bars would have to be filled to the brim, which is the dives' work
	}
	failed := 0
	for round := 0; failed < repackRounds && !s.done() && !s.stop(); round++ {
		bs := gather(s.in, s.best.uses)
		slices.SortStableFunc(bs, func(a, b loose) int { return cmp.Compare(b.room, a.room) })
		taken, room := 0, int64(0)
		for taken < len(bs) && room < s.in.stocks[0].cap {
			room += bs[taken].room
			taken++
		}
		if taken == len(bs) || taken > repackMost {
			return // hardly any room to spare, or it is spread too wide
		}
		extra := max(repackBars-taken, 6+taken/4)
		part := slices.Clone(bs[:taken])
		rest := bs[taken:]
		var kept []loose
		for k, b := range rest {
			// Every so many bars, shifted each round.
			if step := max(1, len(rest)/max(1, extra)); (k+round)%step == 0 && extra > 0 {
				part = append(part, b)
				extra--
				continue
			}
			kept = append(kept, b)
		}
		uses, better := s.repackPart(part, make([]int64, 1))
		if !better {
			failed++
			continue
		}
		failed = 0
		for _, b := range kept {
			uses = append(uses, b.use())
		}
		s.offer(uses)
	}
}

// repackPart plans the pieces of these bars with cheaper bars, if it can; kept are the
// bars of each kind that the others use.
func (s *search) repackPart(part []loose, kept []int64) (uses []use, better bool) {
	count := map[int32]int64{}
	for _, b := range part {
		for _, i := range b.items {
			count[i]++
		}
	}
	sub := &instance{stocks: slices.Clone(s.in.stocks)}
	for t := range sub.stocks {
		if sub.stocks[t].count != unlimited {
			sub.stocks[t].count -= kept[t]
		}
	}
	var at []int32
	for i := range s.in.w {
		if n := count[int32(i)]; n > 0 {
			sub.w, sub.d, at = append(sub.w, s.in.w[i]), append(sub.d, n), append(at, int32(i))
		}
	}
	r := &search{in: sub, stop: s.stop}
	for _, b := range part {
		u := b.use()
		for k := range u.item {
			x, _ := slices.BinarySearch(at, u.item[k])
			u.item[k] = int32(x)
		}
		r.best.uses = append(r.best.uses, u)
	}
	r.best.cost = sub.costOf(r.best.uses)
	before := r.best.cost
	r.lower = quickBound(sub)
	if !r.done() {
		r.relaxAndDive(2)
	}
	for _, u := range r.best.uses {
		for k := range u.item {
			u.item[k] = at[u.item[k]]
		}
		uses = append(uses, u)
	}
	return uses, r.best.cost < before
}

const (
	mendBars   = 30 // planned anew at once
	mendRounds = 40 // without success
)

// mend is repack for several kinds of bar: each round plans some thirty bars anew, half of
// them those with the most room for their length, the others a different part each round.
func (s *search) mend() {
	for round, failed := 0, 0; failed < mendRounds && !s.done() && !s.stop(); round++ {
		bs := gather(s.in, s.best.uses)
		slices.SortStableFunc(bs, func(a, b loose) int {
			return cmp.Compare(float64(b.room)/float64(s.in.stocks[b.stock].cap), float64(a.room)/float64(s.in.stocks[a.stock].cap))
		})
		worst := min(mendBars/2, len(bs))
		part := slices.Clone(bs[:worst])
		rest := bs[worst:]
		step := max(1, len(rest)/(mendBars/2))
		var left []loose
		kept := make([]int64, len(s.in.stocks))
		for k, b := range rest {
			if (k+round)%step == 0 && len(part) < mendBars {
				part = append(part, b)
				continue
			}
			left = append(left, b)
			kept[b.stock]++
		}
		uses, better := s.repackPart(part, kept)
		if !better {
			failed++
			continue
		}
		failed = 0
		for _, b := range left {
			uses = append(uses, b.use())
		}
		s.offer(uses)
	}
}

// use is the bar as a pattern cut once.
func (b loose) use() use {
	u := use{pattern{stock: b.stock}, 1}
	for _, i := range b.items {
		if n := len(u.item); n > 0 && u.item[n-1] == i {
			u.n[n-1]++
			continue
		}
		u.item, u.n = append(u.item, i), append(u.n, 1)
	}
	return u
}
