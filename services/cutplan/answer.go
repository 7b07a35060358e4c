package cutplan

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"

	"bydark/events/quantity"
)

// answer writes the plan down bar by bar, with marks.
func (t *task) answer(r result) *Answer {
	bs := arrange(t, r.uses)
	a := &Answer{Proven: r.proven(), cost: r.cost}
	var length, cutting int64
	for _, b := range bs {
		s := t.req.Stock[t.stock[b.stock]]
		a.Used++
		if !t.free[b.stock] {
			a.NewBars++
		}
		length += s.Length
		bar := Bar{Stock: s.ID, StockLength: Measure{s.Length, t.req.Plain}}
		if bar.Stock == "" {
			bar.Stock = bar.StockLength.String()
		}
		left := s.Length
		for _, line := range b.lines {
			p := t.req.Pieces[line]
			for _, part := range p.parts() {
				bar.Pieces = append(bar.Pieces, part.Name(t.req.Plain))
			}
			left -= p.Length + t.req.Kerf
			cutting += p.Length
		}
		left = max(left, 0)
		bar.Offcut = Measure{left, t.req.Plain}
		bar.Keep = left > 0 && left >= t.req.Keep
		a.Bars = append(a.Bars, bar)
	}
	a.WastePct = float64(length-cutting) / float64(length) * 100
	a.LowerBound = a.Used
	if !a.Proven {
		dearest := int64(1)
		for _, s := range t.in.stocks {
			dearest = max(dearest, s.cost)
		}
		a.LowerBound = a.Used - a.NewBars + (r.lower+dearest-1)/dearest
	}
	if t.priced {
		a.Cost, a.CostLowerBound = priceText(r.cost), priceText(min(r.lower, r.cost))
	}
	return a
}

// parts are the pieces of a line: itself, or those that share their oblique cuts.
func (p Piece) parts() []Piece {
	if p.chain == nil {
		return []Piece{p}
	}
	return p.chain
}

// Name is what a bar calls the piece: its mark, or its length.
func (p Piece) Name(plain bool) string {
	if p.Mark != "" {
		return p.Mark
	}
	return Measure{p.Length, plain}.String()
}

// withSaving tells what the shared cuts saved.
func (a *Answer) withSaving(q *Request, saved int64) {
	s := &AngleSaving{Length: Measure{saved, q.Plain}}
	if !q.Plain {
		s.Feet = quantity.Length(saved).Feet()
	}
	length := int64(0)
	for _, b := range a.Bars {
		length += b.StockLength.N
	}
	if a.Cost != "" && length > 0 {
		money := new(big.Int).Mul(big.NewInt(a.cost), big.NewInt(saved))
		s.Money = priceText(money.Div(money, big.NewInt(length)).Int64())
	}
	a.AngleSaved = s
}

// laid is one bar with the lines of the request that its pieces come from.
type laid struct {
	stock int
	lines []int
}

// arrange gives every bar its pieces: sizes are handed out in the order of the cutting list, so that pieces of one group
// fall together, bars stand in the order of their first piece, and within a bar the list's order holds.
func arrange(t *task, uses []use) []laid {
	bs := gather(t.in, uses)
	rank := t.ranks()
	next := make([]int, len(t.in.w)) // line in use
	left := make([]int64, len(t.in.w))
	for i := range t.in.w {
		left[i] = t.req.Pieces[t.ids[i][0]].Count
	}
	first := func(b loose) int {
		best := len(t.req.Pieces)
		for _, i := range b.items {
			best = min(best, rank[t.ids[i][0]])
		}
		return best
	}
	slices.SortStableFunc(bs, func(a, b loose) int { return cmp.Compare(first(a), first(b)) })
	out := make([]laid, 0, len(bs))
	for _, b := range bs {
		l := laid{stock: b.stock}
		for _, i := range b.items {
			for left[i] == 0 {
				next[i]++
				left[i] = t.req.Pieces[t.ids[i][next[i]]].Count
			}
			left[i]--
			l.lines = append(l.lines, t.ids[i][next[i]])
		}
		slices.SortFunc(l.lines, func(a, b int) int { return cmp.Compare(rank[a], rank[b]) })
		out = append(out, l)
	}
	return out
}

// ranks orders the lines: groups in the order of their first line, lines of a group together.
func (t *task) ranks() []int {
	lead := map[string]int{}
	for i, p := range t.req.Pieces {
		if _, ok := lead[p.Group]; !ok {
			lead[p.Group] = i
		}
	}
	at := make([]int, len(t.req.Pieces))
	for i := range at {
		at[i] = i
	}
	slices.SortStableFunc(at, func(a, b int) int {
		return cmp.Compare(lead[t.req.Pieces[a].Group], lead[t.req.Pieces[b].Group])
	})
	rank := make([]int, len(at))
	for r, i := range at {
		rank[i] = r
	}
	for i := range t.ids {
		slices.SortStableFunc(t.ids[i], func(a, b int) int { return cmp.Compare(rank[a], rank[b]) })
	}
	return rank
}

// Outcome is the answer to one line of a batch.
type Outcome struct {
	ID         string `json:"id"`
	Used       int64  `json:"used"`
	LowerBound int64  `json:"lower_bound"`
	Proven     bool   `json:"proven"`
	// ElapsedMS is filled by whoever holds the clock.
	ElapsedMS float64 `json:"elapsed_ms"`
}

// Outcome is the answer in short, without the bars.
func (a *Answer) Outcome(id string) Outcome {
	return Outcome{ID: id, Used: a.Used, LowerBound: a.LowerBound, Proven: a.Proven, ElapsedMS: a.ElapsedMS}
}

// Summary is the plan in one line.
func (a *Answer) Summary(q *Request) string {
	proof := "fewest possible"
	if a.Cost != "" {
		proof = "cheapest possible"
	}
	if !a.Proven {
		proof = fmt.Sprintf("not proven: no plan takes fewer than %d", a.LowerBound)
	}
	line := fmt.Sprintf("%d bars, %d of them new (%s)", a.Used, a.NewBars, proof)
	if q.Kerf > 0 {
		line += "; kerf " + Measure{q.Kerf, q.Plain}.String()
	}
	if a.AngleSaved != nil {
		line += "; shared cuts save " + a.AngleSaved.Length.String()
	}
	return line
}
