package cutplan

import (
	"bytes"
	"context"
	"encoding/json/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// bestFitCount is best-fit decreasing as the books tell it, piece by piece.
func bestFitCount(q Request) int64 {
	var pieces []int64
	for _, p := range q.Pieces {
		for range p.Count {
			pieces = append(pieces, p.Length+q.Kerf)
		}
	}
	slices.Sort(pieces)
	slices.Reverse(pieces)
	var rooms []int64
	for _, w := range pieces {
		best := -1
		for b, room := range rooms {
			if room >= w && (best < 0 || room < rooms[best]) {
				best = b
			}
		}
		if best < 0 {
			rooms = append(rooms, q.Stock[0].Length+q.Kerf)
			best = len(rooms) - 1
		}
		rooms[best] -= w
	}
	return int64(len(rooms))
}

func drawRequest(t *rapid.T) Request {
	length := rapid.Int64Range(50, 2000).Draw(t, "bar")
	q := Request{Plain: true, Stock: []Stock{{Length: length}}, Kerf: rapid.Int64Range(0, 5).Draw(t, "kerf")}
	q.Pieces = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Piece {
		return Piece{Length: rapid.Int64Range(length/20+1, length).Draw(t, "length"), Count: rapid.Int64Range(1, 6).Draw(t, "count")}
	}), 1, 25).Draw(t, "pieces")
	return q
}

// Never worse than best-fit decreasing, whole, and the same twice over; even when stopped at once.
func TestNeverWorseThanBestFit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := drawRequest(t)
		steps := 0
		left := rapid.SampledFrom([]int{0, 10, 1000, 20_000}).Draw(t, "steps")
		plan := func() []byte {
			steps = 0
			a, err := Plan(&stepped{context.Background(), left, &steps}, q)
			if err != nil {
				t.Fatal(err)
			}
			if err := inspect(q, a); err != nil {
				t.Fatal(err)
			}
			if n := bestFitCount(q); a.Used > n {
				t.Fatalf("used %d, best fit takes %d", a.Used, n)
			}
			out, err := json.Marshal(a)
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
		if a, b := plan(), plan(); !bytes.Equal(a, b) {
			t.Fatalf("two answers to one question:\n%s\n%s", a, b)
		}
	})
}

// Every length times a common factor, and a kerf of zero: the same number of bars.
func TestUnitsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := drawRequest(t)
		f := rapid.Int64Range(2, 1_000_000).Draw(t, "factor")
		big := Request{Plain: true, Kerf: q.Kerf * f, Stock: []Stock{{Length: q.Stock[0].Length * f}}}
		for _, p := range q.Pieces {
			big.Pieces = append(big.Pieces, Piece{Length: p.Length * f, Count: p.Count})
		}
		steps, again := 0, 0
		a, err := Plan(&stepped{context.Background(), 20_000, &steps}, q)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Plan(&stepped{context.Background(), 20_000, &again}, big)
		if err != nil {
			t.Fatal(err)
		}
		if a.Used != b.Used || a.LowerBound != b.LowerBound {
			t.Fatalf("used %d and %d, lower bounds %d and %d", a.Used, b.Used, a.LowerBound, b.LowerBound)
		}
	})
}
