package cutplan

import (
	"cmp"
	"slices"
)

// Angled ends. A panel cut to a hip, a ridge side or a valley does not end square: one seam side runs further than the
// other. Where one panel's high end and the next one's low end run off by the same amount to the same side, one oblique
// cut makes both, and the strip saves that run once. A panel is never turned end for end, nor over: that would swap its
// male and female legs. So a high end pairs with a low end only, and only with the same sign; a hip on one plane and a
// valley on another give such pairs.

// nestLimit is the number of angled pieces up to which they are nested.
const nestLimit = 20_000

// blank is one piece, or several that share their oblique cuts, low end first.
type blank struct {
	lines  []int
	length int64
	saved  int64
}

// nest joins angled pieces into blanks no longer than the longest bar, the largest runs first. Lines without angled ends
// stay as they are and are not among the blanks.
func nest(q *Request) []blank {
	longest := int64(0)
	for _, s := range q.Stock {
		if s.Count == nil || *s.Count > 0 {
			longest = max(longest, s.Length)
		}
	}
	var bs []blank
	for i, p := range q.Pieces {
		if p.LowRun == 0 && p.HighRun == 0 {
			continue
		}
		if p.Count > int64(nestLimit-len(bs)) {
			return nil
		}
		for range p.Count {
			bs = append(bs, blank{lines: []int{i}, length: p.Length})
		}
	}
	for _, run := range runs(q) {
		bs = join(q, bs, run, longest)
	}
	return bs
}

// runs lists the runs that both a high end and a low end have, longest first.
func runs(q *Request) []int64 {
	low := map[int64]bool{}
	for _, p := range q.Pieces {
		low[p.LowRun] = true
	}
	var out []int64
	for _, p := range q.Pieces {
		if p.HighRun != 0 && low[p.HighRun] {
			out = append(out, p.HighRun)
		}
	}
	slices.SortFunc(out, func(a, b int64) int { return cmp.Or(cmp.Compare(abs(b), abs(a)), cmp.Compare(b, a)) })
	return slices.Compact(out)
}

// join lays blanks whose low end has the run behind blanks whose high end has it: the longest with the shortest, so that
// the joined ones come out alike and fit the bars.
func join(q *Request, bs []blank, run, longest int64) []blank {
	var heads, tails, rest []blank
	for _, b := range bs {
		high, low := q.Pieces[b.lines[len(b.lines)-1]].HighRun == run, q.Pieces[b.lines[0]].LowRun == run
		switch {
		case high && (!low || len(heads) <= len(tails)):
			heads = append(heads, b)
		case low:
			tails = append(tails, b)
		default:
			rest = append(rest, b)
		}
	}
	slices.SortStableFunc(heads, func(a, b blank) int { return cmp.Compare(b.length, a.length) })
	slices.SortStableFunc(tails, func(a, b blank) int { return cmp.Compare(a.length, b.length) })
	for _, h := range heads {
		if len(tails) > 0 {
			if l := h.length + q.Kerf + tails[0].length - abs(run); l <= longest {
				t := tails[0]
				tails = tails[1:]
				h = blank{append(slices.Clone(h.lines), t.lines...), l, h.saved + t.saved + abs(run)}
			}
		}
		rest = append(rest, h)
	}
	return append(rest, tails...)
}

// joined is the request with a line for each blank of several pieces in place of those pieces, and what that saves.
func joined(q *Request, bs []blank) (out Request, saved int64) {
	left := make([]int64, len(q.Pieces))
	for i, p := range q.Pieces {
		left[i] = p.Count
	}
	var blanks []Piece
	for _, b := range bs {
		if len(b.lines) < 2 {
			continue
		}
		saved += b.saved
		whole := Piece{Length: b.length, Count: 1, Group: q.Pieces[b.lines[0]].Group}
		for _, i := range b.lines {
			left[i]--
			whole.chain = append(whole.chain, q.Pieces[i])
		}
		blanks = append(blanks, whole)
	}
	out = *q
	out.Pieces = nil
	for i, p := range q.Pieces {
		if p.Count = left[i]; p.Count > 0 {
			out.Pieces = append(out.Pieces, p)
		}
	}
	out.Pieces = append(out.Pieces, blanks...)
	return out, saved
}

func abs(n int64) int64 {
	if n < 0 {
		return -n
	}
	return n
}
