package cutplan

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"
)

// What is told while a plan is searched for only gets better, ends at the answer, and
// changes nothing about it.
func TestProgress(t *testing.T) {
	ids, reqs := open(t, openSet+"/scholl_2.jsonl")
	told := 0
	for i := 0; i < len(reqs); i += 12 {
		var all []Progress
		steps, again := 0, 0
		a, err := Watched(&stepped{context.Background(), 20_000, &steps}, reqs[i], func(p Progress) { all = append(all, p) })
		if err != nil {
			t.Fatal(err)
		}
		for k, p := range all {
			if k > 0 && (p.Best > all[k-1].Best || p.Bound < all[k-1].Bound) || p.Bound > p.Best {
				t.Fatalf("%s: told %v", ids[i], all)
			}
		}
		if len(all) == 0 || all[len(all)-1].Best != a.NewBars {
			t.Fatalf("%s: told %v, answered %d", ids[i], all, a.NewBars)
		}
		told += len(all)
		b, err := Plan(&stepped{context.Background(), 20_000, &again}, reqs[i])
		if err != nil || b.Used != a.Used || b.LowerBound != a.LowerBound {
			t.Errorf("%s: watched %d, unwatched %d, %v", ids[i], a.Used, b.Used, err)
		}
	}
	if told < 2*len(reqs)/12 {
		t.Errorf("told %d times", told)
	}
}

// Whenever it is told to stop, the search asks only a few times more and answers whole:
// nothing long runs between two questions (BenchmarkStops measures the time).
func TestStopsSoon(t *testing.T) {
	_, reqs := open(t, openSet+"/hard28.jsonl")
	r := rand.New(rand.NewPCG(28, 1))
	for range 40 {
		q := reqs[r.IntN(len(reqs))]
		left, steps := r.IntN(4000), 0
		a, err := Plan(&stepped{context.Background(), left, &steps}, q)
		if err != nil {
			t.Fatal(err)
		}
		if err := inspect(q, a); err != nil {
			t.Fatal(err)
		}
		if steps > left+40 {
			t.Errorf("asked %d times after it was told to stop", steps-left)
		}
	}
}

// Orders of several kinds of bar, some counted, some priced, too large to try all plans:
// whole, within what there is, bounds in order, and no dearer than taking each bar in turn
// and filling it with the longest pieces that fit.
func TestSeveralKindsOfBar(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 12))
	for n := range 300 {
		q := Request{Plain: true, Kerf: r.Int64N(6)}
		for k := range 2 + r.IntN(4) {
			s := Stock{ID: string(rune('a' + k)), Length: 200 + r.Int64N(900)}
			price := (s.Length + r.Int64N(120)) * priceParts
			s.Price = &price
			if k > 0 && r.IntN(2) == 0 {
				count := 1 + r.Int64N(12)
				s.Count = &count
			}
			q.Stock = append(q.Stock, s)
		}
		longest := q.Stock[0].Length // the one that there is any number of
		for range 3 + r.IntN(15) {
			q.Pieces = append(q.Pieces, Piece{Length: 20 + r.Int64N(longest-20), Count: 1 + r.Int64N(30)})
		}
		steps := 0
		a, err := Plan(&stepped{context.Background(), 3000, &steps}, q)
		if err != nil {
			t.Fatalf("case %d: %v", n, err)
		}
		if err := inspect(q, a); err != nil {
			t.Fatalf("case %d: %v\n%+v", n, err, q)
		}
		cost := int64(0)
		for _, b := range a.Bars {
			cost += *q.Stock[b.Stock[0]-'a'].Price
		}
		if priceText(cost) != a.Cost {
			t.Fatalf("case %d: says %s, the bars cost %s", n, a.Cost, priceText(cost))
		}
		if dumb := inTurn(q) * *q.Stock[0].Price; cost > dumb {
			t.Fatalf("case %d: costs %d, bars filled in turn cost %d", n, cost, dumb)
		}
	}
}

// inTurn is how many bars of the first kind it takes by first-fit decreasing.
func inTurn(q Request) int64 {
	var all []int64
	for _, p := range q.Pieces {
		for range p.Count {
			all = append(all, p.Length+q.Kerf)
		}
	}
	slices.Sort(all)
	var rooms []int64
	for _, w := range slices.Backward(all) {
		k := slices.IndexFunc(rooms, func(room int64) bool { return room >= w })
		if k < 0 {
			rooms, k = append(rooms, q.Stock[0].Length+q.Kerf), len(rooms)
		}
		rooms[k] -= w
	}
	return int64(len(rooms))
}
