package cutplan

import "slices"

// loose is one bar whose pieces can still be moved; items are sizes, rising, one entry a piece.
type loose struct {
	stock int
	items []int32
	room  int64
}

// gatherLimit is the number of bars up to which offcuts are gathered; beyond, a single offcut matters little.
const gatherLimit = 400

// gather spreads the uses into single bars and moves pieces between them so that what is left over collects in one bar:
// the second aim of the plan, since one long offcut serves the next roof and many scraps none. It never changes which
// bars are used. It climbs: the move or exchange that lets the largest room grow most is made, until none does.
func gather(in *instance, uses []use) []loose {
	var bs []loose
	for _, u := range uses {
		for range u.times {
			b := loose{stock: u.stock, room: in.stocks[u.stock].cap}
			for k, i := range u.item {
				for range u.n[k] {
					b.items = append(b.items, i)
				}
				b.room -= in.w[i] * int64(u.n[k])
			}
			slices.Sort(b.items)
			bs = append(bs, b)
		}
	}
	if len(bs) < 2 || len(bs) > gatherLimit {
		return bs
	}
	for range 4 * len(bs) {
		keeper := 0
		for k := range bs {
			if bs[k].room > bs[keeper].room {
				keeper = k
			}
		}
		if !drain(in, bs, keeper) {
			break
		}
	}
	return bs
}

// drain makes the one best move out of the keeper: a piece into another bar's room, or a piece against a shorter one.
// The keeper's last piece stays, for then it would be no bar in use.
func drain(in *instance, bs []loose, keeper int) bool {
	bar, out, back, gain := -1, int32(-1), int32(-1), int64(0)
	own := slices.Compact(slices.Clone(bs[keeper].items))
	for k := range bs {
		if k == keeper {
			continue
		}
		others := slices.Compact(slices.Clone(bs[k].items))
		for _, i := range own {
			if w := in.w[i]; w <= bs[k].room && w > gain && len(bs[keeper].items) > 1 {
				bar, out, back, gain = k, i, -1, w
			}
			for _, j := range others {
				if d := in.w[i] - in.w[j]; d > gain && d <= bs[k].room {
					bar, out, back, gain = k, i, j, d
				}
			}
		}
	}
	if bar < 0 {
		return false
	}
	move(in, &bs[keeper], &bs[bar], out)
	if back >= 0 {
		move(in, &bs[bar], &bs[keeper], back)
	}
	return true
}

func move(in *instance, from, to *loose, i int32) {
	at, _ := slices.BinarySearch(from.items, i)
	from.items = slices.Delete(from.items, at, at+1)
	from.room += in.w[i]
	at, _ = slices.BinarySearch(to.items, i)
	to.items = slices.Insert(to.items, at, i)
	to.room -= in.w[i]
}
