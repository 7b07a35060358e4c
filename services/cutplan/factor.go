package cutplan

import (
	"cmp"
	"math"
	"slices"
)

// factor holds a basis as sparse triangles, B = L·U by columns (left-looking, after the columns and rows with a single
// entry were peeled off), and one eta vector for each exchange since (product form of the inverse). Row numbers stand for
// positions: the column that was pivoted in row r is the basic one of row r.
type factor struct {
	order []int32 // pivot rows in order
	diag  []float64
	lower vectors
	upper vectors

	etaRow   []int32
	etaPivot []float64
	eta      vectors

	// Room for build, kept between calls.
	work     []float64
	touched  []int32
	mark     []bool
	done     []bool
	rowCount []int32
	colCount []int32
	byRow    [][]int32
	waiting  []bool
	newBase  []int32
	peeled   []int32
	rest     []int32
}

// vectors is a list of sparse vectors end to end.
type vectors struct {
	start []int32
	at    []int32
	val   []float64
}

func (v *vectors) reset() {
	v.start = append(v.start[:0], 0)
	v.at, v.val = v.at[:0], v.val[:0]
}

func (v *vectors) push(i int32, x float64) {
	v.at = append(v.at, i)
	v.val = append(v.val, x)
}

func (v *vectors) end() { v.start = append(v.start, int32(len(v.at))) }

func (v *vectors) span(k int) ([]int32, []float64) {
	lo, hi := v.start[k], v.start[k+1]
	return v.at[lo:hi], v.val[lo:hi]
}

// ftran turns x into B⁻¹x.
func (f *factor) ftran(x []float64) {
	for k, r := range f.order {
		t := x[r]
		if t == 0 {
			continue
		}
		at, val := f.lower.span(k)
		for n, i := range at {
			x[i] -= val[n] * t
		}
	}
	for k := len(f.order) - 1; k >= 0; k-- {
		r := f.order[k]
		if x[r] == 0 {
			continue
		}
		t := x[r] / f.diag[k]
		x[r] = t
		at, val := f.upper.span(k)
		for n, i := range at {
			x[i] -= val[n] * t
		}
	}
	for k, r := range f.etaRow {
		t := x[r]
		if t == 0 {
			continue
		}
		t /= f.etaPivot[k]
		at, val := f.eta.span(k)
		for n, i := range at {
			x[i] -= val[n] * t
		}
		x[r] = t
	}
}

// btran turns y into yB⁻¹.
func (f *factor) btran(y []float64) {
	for k := len(f.etaRow) - 1; k >= 0; k-- {
		r := f.etaRow[k]
		t := y[r]
		at, val := f.eta.span(k)
		for n, i := range at {
			t -= y[i] * val[n]
		}
		y[r] = t / f.etaPivot[k]
	}
	for k, r := range f.order {
		t := y[r]
		at, val := f.upper.span(k)
		for n, i := range at {
			t -= y[i] * val[n]
		}
		y[r] = t / f.diag[k]
	}
	for k := len(f.order) - 1; k >= 0; k-- {
		at, val := f.lower.span(k)
		if len(at) == 0 {
			continue
		}
		t := y[f.order[k]]
		for n, i := range at {
			t -= y[i] * val[n]
		}
		y[f.order[k]] = t
	}
}

// exchange notes that the column whose direction is alpha entered at row r.
func (f *factor) exchange(r int, alpha []float64) {
	for i, a := range alpha {
		if i != r && math.Abs(a) > 1e-13 {
			f.eta.push(int32(i), a)
		}
	}
	f.eta.end()
	f.etaRow = append(f.etaRow, int32(r))
	f.etaPivot = append(f.etaPivot, alpha[r])
}

// build factors the basis anew and puts base into the order of its pivot rows. It reports false when it is singular.
func (f *factor) build(s *simplex) bool {
	m := s.m
	f.order, f.diag = f.order[:0], f.diag[:0]
	f.lower.reset()
	f.upper.reset()
	f.eta.reset()
	f.etaRow, f.etaPivot = f.etaRow[:0], f.etaPivot[:0]
	f.grow(m)
	cols := f.peelOrder(s)
	for _, c := range cols {
		j := s.base[c]
		f.spread(s, j)
		p := f.choose()
		if p < 0 {
			f.wipe()
			return false
		}
		d := f.work[p]
		for _, i := range f.touched {
			switch v := f.work[i]; {
			case v == 0 || i == p:
			case f.done[i]:
				f.upper.push(i, v)
			case math.Abs(v) > 1e-14:
				f.lower.push(i, v/d)
			}
		}
		f.upper.end()
		f.lower.end()
		f.order = append(f.order, p)
		f.diag = append(f.diag, d)
		f.done[p] = true
		f.newBase[p] = j
		f.wipe()
	}
	copy(s.base, f.newBase)
	for r, j := range s.base {
		s.pos[j] = int32(r)
	}
	return true
}

// spread puts column j, taken through the triangles so far, into work and its places into touched.
func (f *factor) spread(s *simplex, j int32) {
	x := f.work
	for k := s.start[j]; k < s.start[j+1]; k++ {
		x[s.row[k]] = s.val[k]
		f.touch(s.row[k])
	}
	for k, r := range f.order {
		t := x[r]
		if t == 0 {
			continue
		}
		at, val := f.lower.span(k)
		for n, i := range at {
			f.touch(i)
			x[i] -= val[n] * t
		}
	}
}

func (f *factor) touch(i int32) {
	if !f.mark[i] {
		f.mark[i] = true
		f.touched = append(f.touched, i)
	}
}

// choose takes the pivot row: a large enough entry in the emptiest row; -1 when there is none.
func (f *factor) choose() int32 {
	top := 1e-10
	for _, i := range f.touched {
		if !f.done[i] {
			top = max(top, math.Abs(f.work[i]))
		}
	}
	p := int32(-1)
	for _, i := range f.touched {
		if !f.done[i] && math.Abs(f.work[i]) >= 0.1*top && (p < 0 || f.rowCount[i] < f.rowCount[p]) {
			p = i
		}
	}
	return p
}

func (f *factor) wipe() {
	for _, i := range f.touched {
		f.work[i] = 0
		f.mark[i] = false
	}
	f.touched = f.touched[:0]
}

func (f *factor) grow(m int) {
	if len(f.work) != m {
		f.work = make([]float64, m)
		f.done = make([]bool, m)
		f.mark = make([]bool, m)
		f.rowCount = make([]int32, m)
		f.colCount = make([]int32, m)
		f.newBase = make([]int32, m)
		f.byRow = make([][]int32, m)
		f.waiting = make([]bool, m)
	}
	clear(f.done)
	clear(f.rowCount)
	clear(f.colCount)
	for i := range f.byRow {
		f.byRow[i] = f.byRow[i][:0]
	}
}

// peelOrder lists the basis columns (by their present place): single rows and single columns first, the rest by size.
func (f *factor) peelOrder(s *simplex) []int32 {
	for c, j := range s.base {
		f.waiting[c] = true
		for _, r := range s.row[s.start[j]:s.start[j+1]] {
			f.byRow[r] = append(f.byRow[r], int32(c))
			f.rowCount[r]++
			f.colCount[c]++
		}
	}
	out := f.peeled[:0]
	rows := make([]int32, 0, s.m)
	rowGone := make([]bool, s.m)
	take := func(c, r int32) {
		out = append(out, c)
		f.waiting[c] = false
		rowGone[r] = true
		j := s.base[c]
		for _, i := range s.row[s.start[j]:s.start[j+1]] {
			f.rowCount[i]--
			if f.rowCount[i] == 1 && !rowGone[i] {
				rows = append(rows, i)
			}
		}
	}
	for r, n := range f.rowCount {
		if n == 1 {
			rows = append(rows, int32(r))
		}
	}
	for len(rows) > 0 {
		r := rows[len(rows)-1]
		rows = rows[:len(rows)-1]
		if rowGone[r] || f.rowCount[r] != 1 {
			continue
		}
		for _, c := range f.byRow[r] {
			if f.waiting[c] {
				take(c, r)
				break
			}
		}
	}
	rest := f.rest[:0]
	for c := range s.base {
		if f.waiting[c] {
			rest = append(rest, int32(c))
		}
	}
	slices.SortStableFunc(rest, func(a, b int32) int { return cmp.Compare(f.colCount[a], f.colCount[b]) })
	f.rest = rest
	f.peeled = append(out, rest...) //nolint:gocritic // out is the array of peeled, used again
	return f.peeled
}
