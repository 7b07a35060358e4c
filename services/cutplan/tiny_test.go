package cutplan

import (
	"context"
	"math/rand/v2"
	"testing"
)

// fewest is the dumb twin: the least cost by trying every bar for every piece.
func fewest(req Request) (cost int64, ok bool) {
	var pieces []int64
	for _, p := range req.Pieces {
		for range p.Count {
			pieces = append(pieces, p.Length+req.Kerf)
		}
	}
	counts := make([]int64, len(req.Stock))
	for i, s := range req.Stock {
		counts[i] = 1 << 30
		if s.Count != nil {
			counts[i] = *s.Count
		}
	}
	best := int64(1) << 60
	var rooms []int64
	var place func(i int, cost int64)
	place = func(i int, cost int64) {
		if cost >= best {
			return
		}
		if i == len(pieces) {
			best = cost
			return
		}
		for b := range rooms {
			if rooms[b] >= pieces[i] {
				rooms[b] -= pieces[i]
				place(i+1, cost)
				rooms[b] += pieces[i]
			}
		}
		for s, k := range req.Stock {
			if counts[s] > 0 && k.Length+req.Kerf >= pieces[i] {
				counts[s]--
				rooms = append(rooms, k.Length+req.Kerf-pieces[i])
				place(i+1, cost+costOf(req, s))
				rooms = rooms[:len(rooms)-1]
				counts[s]++
			}
		}
	}
	place(0, 0)
	return best, best < 1<<60
}

// costOf is what a bar costs by the rules of Stock's comment.
func costOf(req Request, s int) int64 {
	others := false
	for _, k := range req.Stock {
		others = others || k.Count == nil || k.Price != nil
	}
	switch k := req.Stock[s]; {
	case k.Price != nil:
		return *k.Price
	case k.Count != nil && others:
		return 0
	}
	return 1
}

func randomRequest(r *rand.Rand) Request {
	q := Request{Plain: true, Kerf: r.Int64N(4)}
	priced := r.IntN(2) == 0
	for range 1 + r.IntN(3) {
		s := Stock{Length: 10 + r.Int64N(40)}
		if r.IntN(2) == 0 {
			n := 1 + r.Int64N(3)
			s.Count = &n
		}
		if priced && (s.Count == nil || r.IntN(3) > 0) {
			p := s.Length + r.Int64N(20)
			s.Price = &p
		}
		s.ID = string(rune('a' + len(q.Stock)))
		q.Stock = append(q.Stock, s)
	}
	for range 1 + r.IntN(4) {
		q.Pieces = append(q.Pieces, Piece{Length: 3 + r.Int64N(25), Count: 1 + r.Int64N(2)})
	}
	return q
}

// Ten thousand tiny plans against every possible plan. The generator's start is printed when one fails.
func TestTinyPlansAgainstAllPlans(t *testing.T) {
	const start = 20240611
	r := rand.New(rand.NewPCG(start, 1))
	proven := 0
	for n := range 10_000 {
		q := randomRequest(r)
		want, possible := fewest(q)
		a, err := Plan(context.Background(), q)
		if err != nil {
			if possible {
				t.Fatalf("start %d, case %d: %v, but a plan of cost %d exists\n%+v", start, n, err, want, q)
			}
			continue
		}
		if err := inspect(q, a); err != nil {
			t.Fatalf("start %d, case %d: %v\n%+v", start, n, err, q)
		}
		cost := int64(0)
		for _, b := range a.Bars {
			cost += costOf(q, int(b.Stock[0]-'a'))
		}
		if cost < want || a.Proven && cost != want {
			t.Fatalf("start %d, case %d: cost %d, proven %v; the least is %d\n%+v", start, n, cost, a.Proven, want, q)
		}
		if cost == want && a.Proven {
			proven++
		} else {
			t.Logf("case %d: cost %d, least %d, not proven: %+v", n, cost, want, q)
		}
	}
	t.Logf("%d of 10000 proven", proven)
}
