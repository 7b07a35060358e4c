package cutplan

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
)

// laidOut draws the pieces of each bar on the strip, low end first, both seam sides at once, and looks whether neighbours
// overlap on either side. Each piece is pushed down as far as both sides allow, as on the bench.
func laidOut(q Request, a *Answer) error {
	by := map[string]Piece{}
	for _, p := range q.Pieces {
		by[p.Mark] = p
	}
	count := map[string]int64{}
	for n, b := range a.Bars {
		left, right := int64(0), int64(0)
		for k, m := range b.Pieces {
			p := by[m]
			count[m]++
			if k > 0 {
				left += q.Kerf
				right += q.Kerf
			}
			// The piece's own sides, its lowest corner at 0.
			lowL, lowR := max(0, -p.LowRun), max(0, p.LowRun)
			highL := p.Length - max(0, p.HighRun)
			highR := p.Length - max(0, -p.HighRun)
			at := max(left-lowL, right-lowR)
			left, right = at+highL, at+highR
		}
		if top := max(left, right); top > b.StockLength.N {
			return fmt.Errorf("bar %d: pieces reach %d of %d", n, top, b.StockLength.N)
		}
	}
	for m, p := range by {
		if count[m] != p.Count {
			return fmt.Errorf("piece %s: %d of %d", m, count[m], p.Count)
		}
	}
	return nil
}

// A hip on one plane and a valley on another: the hip panel's high end and the valley panel's low end run off alike.
func TestHipAndValleyShareOneCut(t *testing.T) {
	for _, c := range []struct {
		name       string
		hip, alley int64 // runs
		used       int64
		saved      int64
	}{
		{"alike", 18, 18, 1, 18},
		{"other side: a turned panel would swap its legs", 18, -18, 2, 0},
		{"other angle", 18, 12, 2, 0},
		{"square", 0, 0, 2, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := Request{Plain: true, Stock: []Stock{{Length: 184}}, Pieces: []Piece{
				{Mark: "A-01", Length: 100, Count: 1, HighRun: c.hip}, {Mark: "B-01", Length: 102, Count: 1, LowRun: c.alley},
			}}
			a, err := Plan(context.Background(), q)
			if err != nil {
				t.Fatal(err)
			}
			if err := laidOut(q, a); err != nil {
				t.Fatal(err)
			}
			saved := int64(0)
			if a.AngleSaved != nil {
				saved = a.AngleSaved.Length.N
			}
			if a.Used != c.used || saved != c.saved {
				t.Errorf("used %d, saved %d; want %d and %d", a.Used, saved, c.used, c.saved)
			}
		})
	}
}

// Angled pieces at random: laid out side by side they never overlap, and never take more bars than square ones would.
func TestAngledPiecesFit(t *testing.T) {
	const start = 5
	r := rand.New(rand.NewPCG(start, 3))
	saved := 0
	for n := range 2000 {
		q := Request{Plain: true, Kerf: r.Int64N(3), Stock: []Stock{{Length: 120 + r.Int64N(200)}}}
		square := q
		angles := []int64{0, 9, -9, 14}
		for k := range 2 + r.IntN(6) {
			p := Piece{Mark: fmt.Sprint("p", k), Length: 30 + r.Int64N(80), Count: 1 + r.Int64N(4)}
			square.Pieces = append(square.Pieces, p)
			p.LowRun, p.HighRun = angles[r.IntN(4)], angles[r.IntN(4)]
			q.Pieces = append(q.Pieces, p)
		}
		a, err := Plan(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		if err := laidOut(q, a); err != nil {
			t.Fatalf("start %d, case %d: %v\n%+v\n%+v", start, n, err, q, a)
		}
		b, err := Plan(context.Background(), square)
		if err != nil {
			t.Fatal(err)
		}
		if a.Used > b.Used {
			t.Fatalf("start %d, case %d: %d bars, %d without the angles", start, n, a.Used, b.Used)
		}
		if a.Used < b.Used {
			saved++
		}
	}
	if saved == 0 {
		t.Error("sharing cuts never saved a bar")
	}
	t.Logf("bars saved in %d of 2000", saved)
}
