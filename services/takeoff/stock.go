package takeoff

import (
	"slices"

	"bydark/events/quantity"
	"bydark/services/assembly"
)

// pieces is how many stock lengths, each lapping the one before, make a length; one where
// the stock is no longer than its lap, which assembly.Read refuses.
func pieces(length, stock, lap quantity.Length) int64 {
	if length <= stock || stock <= lap {
		return 1
	}
	return 1 + int64((length-stock+stock-lap-1)/(stock-lap))
}

// runPieces are the pieces of one run along an edge, from whole lengths and a rest.
func runPieces(length, stock, lap quantity.Length) []quantity.Length {
	n := pieces(length, stock, lap)
	all := make([]quantity.Length, n)
	for i := range all {
		all[i] = stock
	}
	all[n-1] = length - quantity.Length(n-1)*(stock-lap)
	return all
}

// isCutToLength tells whether a material comes in stiff lengths, out of which pieces are
// cut, so that what is left of one may be too short for the next. Off a roll, a tube or
// a spool a run goes on.
func isCutToLength(m *assembly.Material) bool {
	return m.Unit == assembly.UnitLength && m.Pack.Noun != "" &&
		!slices.Contains([]string{"roll", "tube", "spool", "cartridge", "sausage", "pail"}, m.Pack.Noun)
}

// stocks packs pieces into stock lengths, the longest first, each into the first stock
// that has room (first fit decreasing). It gives how many stocks are cut and what is left
// of the last one. A cut plan may do better; it never needs more.
func stocks(all []quantity.Length, stock quantity.Length) (count int64, lastLeft quantity.Length) {
	all = slices.Clone(all)
	slices.SortFunc(all, func(a, b quantity.Length) int {
		switch {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
	tree := newRoom(len(all), stock)
	for _, piece := range all {
		at := tree.first(piece)
		tree.take(at, piece)
		if int64(at) >= count {
			count = int64(at) + 1
		}
	}
	if count > 0 {
		lastLeft = tree.room[tree.leaves+int(count)-1]
	}
	return count, lastLeft
}

// room is what is left of each stock, in a tree of greatest rooms, so that the first
// stock with room is found without looking at all.
type room struct {
	leaves int
	room   []quantity.Length
}

func newRoom(stocks int, stock quantity.Length) *room {
	r := &room{leaves: 1}
	for r.leaves < stocks {
		r.leaves *= 2
	}
	r.room = make([]quantity.Length, 2*r.leaves)
	for i := range r.room {
		r.room[i] = stock
	}
	return r
}

// first is the first stock with room for a piece; there is one, since no piece is longer
// than a stock and there are as many stocks as pieces.
func (r *room) first(piece quantity.Length) int {
	i := 1
	for i < r.leaves {
		i *= 2
		if r.room[i] < piece {
			i++
		}
	}
	return i - r.leaves
}

func (r *room) take(stock int, piece quantity.Length) {
	i := stock + r.leaves
	r.room[i] -= piece
	for i /= 2; i > 0; i /= 2 {
		r.room[i] = max(r.room[2*i], r.room[2*i+1])
	}
}
