package cutplan

import "math"

// simplex is a revised simplex method over a growing pool of columns: cover every size (rows of sizes, >=), take no more
// bars than there are (rows of counted stock, <=), at least cost. It keeps the inverse of the basis, so that it starts
// warm after columns came (primal steps) and after demands fell or columns were barred (dual steps). It works in floating
// point; nothing it says is taken as proof (see bound.go).
type simplex struct {
	m     int
	rhs   []float64
	start []int32 // column j is row/val[start[j]:start[j+1]]
	row   []int32
	val   []float64
	cost  []float64
	off   []bool // barred: must stay at zero
	pos   []int32
	base  []int32
	binv  []float64
	x     []float64
	y     []float64

	alpha  []float64
	nz     []int32
	pivots int
	stall  int
}

const (
	costTol  = 1e-10
	pivotTol = 1e-9
	feasTol  = 1e-9
)

func newSimplex(rhs []float64) *simplex {
	m := len(rhs)
	return &simplex{m: m, rhs: append([]float64(nil), rhs...), start: []int32{0}, base: make([]int32, m),
		binv: make([]float64, m*m), x: make([]float64, m), y: make([]float64, m), alpha: make([]float64, m)}
}

// add puts a column into the pool and returns its number.
func (s *simplex) add(cost float64, rows []int32, vals []float64) int32 {
	s.row = append(s.row, rows...)
	s.val = append(s.val, vals...)
	s.start = append(s.start, int32(len(s.row)))
	s.cost = append(s.cost, cost)
	s.off = append(s.off, false)
	s.pos = append(s.pos, -1)
	return int32(len(s.cost) - 1)
}

// begin takes a basis of unit columns, one a row.
func (s *simplex) begin(base []int32) {
	copy(s.base, base)
	clear(s.binv)
	for r, j := range base {
		s.pos[j] = int32(r)
		s.binv[r*s.m+r] = 1 / s.val[s.start[j]]
	}
	s.refresh()
}

// refresh computes x and y from the inverse.
func (s *simplex) refresh() {
	clear(s.y)
	for r := range s.m {
		line := s.binv[r*s.m : (r+1)*s.m]
		sum, c := 0.0, s.cost[s.base[r]]
		for i, b := range line {
			sum += b * s.rhs[i]
			s.y[i] += c * b
		}
		s.x[r] = sum
	}
}

// refactor inverts the basis anew by Gauss and Jordan with partial pivoting; it reports false when the basis is singular.
func (s *simplex) refactor() bool {
	m := s.m
	a := make([]float64, m*m)
	for r, j := range s.base {
		for k := s.start[j]; k < s.start[j+1]; k++ {
			a[int(s.row[k])*m+r] = s.val[k]
		}
	}
	inv := make([]float64, m*m)
	for i := range m {
		inv[i*m+i] = 1
	}
	for c := range m {
		p := c
		for r := c + 1; r < m; r++ {
			if math.Abs(a[r*m+c]) > math.Abs(a[p*m+c]) {
				p = r
			}
		}
		if math.Abs(a[p*m+c]) < 1e-11 {
			return false
		}
		if p != c {
			for i := range m {
				a[p*m+i], a[c*m+i] = a[c*m+i], a[p*m+i]
				inv[p*m+i], inv[c*m+i] = inv[c*m+i], inv[p*m+i]
			}
		}
		f := 1 / a[c*m+c]
		ac, ic := a[c*m:(c+1)*m], inv[c*m:(c+1)*m]
		for i := range m {
			ac[i] *= f
			ic[i] *= f
		}
		for r := range m {
			g := a[r*m+c]
			if r == c || g == 0 {
				continue
			}
			ar, ir := a[r*m:(r+1)*m], inv[r*m:(r+1)*m]
			for i := range m {
				ar[i] -= g * ac[i]
				ir[i] -= g * ic[i]
			}
		}
	}
	copy(s.binv, inv)
	s.pivots = 0
	s.refresh()
	return true
}

// reduced is the column's cost less what it is worth at the present duals.
func (s *simplex) reduced(j int) float64 {
	d := s.cost[j]
	lo, hi := s.start[j], s.start[j+1]
	rows, vals := s.row[lo:hi], s.val[lo:hi]
	for k, r := range rows {
		d -= s.y[r] * vals[k]
	}
	return d
}

// direction fills alpha with B⁻¹ times column j.
func (s *simplex) direction(j int32) {
	clear(s.alpha)
	for k := s.start[j]; k < s.start[j+1]; k++ {
		c, v := int(s.row[k]), s.val[k]
		for r, at := 0, c; r < s.m; r, at = r+1, at+s.m {
			s.alpha[r] += s.binv[at] * v
		}
	}
}

// pivot lets q enter at row r with its reduced cost d.
func (s *simplex) pivot(r int, q int32, d float64) {
	m := s.m
	line := s.binv[r*m : (r+1)*m]
	f := 1 / s.alpha[r]
	s.nz = s.nz[:0]
	for i, b := range line {
		if b != 0 {
			b *= f
			if math.Abs(b) < 1e-14 {
				b = 0
			} else {
				s.nz = append(s.nz, int32(i))
			}
			line[i] = b
		}
	}
	step := s.x[r] * f
	for i := range m {
		g := s.alpha[i]
		if i == r || g == 0 {
			continue
		}
		other := s.binv[i*m : (i+1)*m]
		if len(s.nz)*2 < m {
			for _, c := range s.nz {
				other[c] -= g * line[c]
			}
		} else {
			for c, b := range line {
				other[c] -= g * b
			}
		}
		s.x[i] -= g * step
	}
	s.x[r] = step
	for _, c := range s.nz {
		s.y[c] += d * line[c]
	}
	s.pos[s.base[r]] = -1
	s.base[r] = q
	s.pos[q] = int32(r)
	s.pivots++
	if s.pivots >= 150 {
		s.refactor()
	}
}

// primal runs until no column of the pool improves. It reports false when stopped.
func (s *simplex) primal(stop func() bool) bool {
	s.stall = 0
	for n := 1; ; n++ {
		if n%32 == 0 && stop() {
			return false
		}
		q, best := int32(-1), -costTol
		for j := range s.cost {
			if s.pos[j] >= 0 || s.off[j] {
				continue
			}
			if d := s.reduced(j); d < best {
				q, best = int32(j), d
				if s.stall > 400 { // the lowest index ends cycles (Bland 1977)
					break
				}
			}
		}
		if q < 0 || s.stall > 5000 {
			return true
		}
		s.direction(q)
		r, ratio := -1, math.Inf(1)
		for i, a := range s.alpha {
			switch {
			case s.off[s.base[i]] && math.Abs(a) > pivotTol && s.x[i] < feasTol:
				if ratio > 0 || r < 0 || math.Abs(a) > math.Abs(s.alpha[r]) {
					r, ratio = i, 0
				}
			case a > pivotTol:
				t := max(s.x[i], 0) / a
				if t < ratio-1e-12 || t <= ratio+1e-12 && r >= 0 && a > math.Abs(s.alpha[r]) {
					r, ratio = i, t
				}
			}
		}
		if r < 0 {
			return true // costs are never negative, so this is rounding; the pool is as good as done
		}
		if ratio*-best < 1e-12 {
			s.stall++
		} else {
			s.stall = 0
		}
		s.pivot(r, q, best)
	}
}

// dual runs until every basic value is within its bounds again: none below zero, barred columns at zero. It reports
// false when stopped or when the pool holds no such point.
func (s *simplex) dual(stop func() bool) bool {
	for n := 1; n < 20000; n++ {
		if n%32 == 0 && stop() {
			return false
		}
		r, worst := -1, 1e-8
		for i, v := range s.x {
			bad := -v
			if s.off[s.base[i]] {
				bad = math.Abs(v)
			}
			if bad > worst {
				r, worst = i, bad
			}
		}
		if r < 0 {
			return true
		}
		line := s.binv[r*s.m : (r+1)*s.m]
		sign := 1.0 // a value above its bound falls through columns with positive entry
		if s.x[r] < 0 {
			sign = -1
		}
		q, best, size, dq := int32(-1), math.Inf(1), 0.0, 0.0
		for j := range s.cost {
			if s.pos[j] >= 0 || s.off[j] {
				continue
			}
			lo, hi := s.start[j], s.start[j+1]
			a, d := 0.0, s.cost[j]
			vals := s.val[lo:hi]
			for k, i := range s.row[lo:hi] {
				a += line[i] * vals[k]
				d -= s.y[i] * vals[k]
			}
			a *= sign
			if a < 1e-8 {
				continue
			}
			d = max(d, 0)
			t := d / a
			if t < best-1e-11 || t <= best+1e-11 && a > size {
				q, best, size, dq = int32(j), t, a, d
			}
		}
		if q < 0 {
			return false
		}
		s.direction(q)
		if math.Abs(s.alpha[r]) < pivotTol {
			if s.pivots == 0 || !s.refactor() {
				return false
			}
			continue
		}
		s.pivot(r, q, dq)
	}
	return false
}

func (s *simplex) value() float64 {
	v := 0.0
	for r, j := range s.base {
		v += s.cost[j] * s.x[r]
	}
	return v
}

// snapshot is what a dive needs to come back: demands, basis, inverse, barred columns.
type snapshot struct {
	rhs, binv, x, y []float64
	base            []int32
	off             []bool
	pivots          int
}

func (s *simplex) save() snapshot {
	c := func(v []float64) []float64 { return append([]float64(nil), v...) }
	return snapshot{c(s.rhs), c(s.binv), c(s.x), c(s.y), append([]int32(nil), s.base...), append([]bool(nil), s.off...),
		s.pivots}
}

// restore keeps columns added since; they stand outside the basis and are allowed.
func (s *simplex) restore(t snapshot) {
	copy(s.rhs, t.rhs)
	copy(s.binv, t.binv)
	copy(s.x, t.x)
	copy(s.y, t.y)
	for _, j := range s.base {
		s.pos[j] = -1
	}
	copy(s.base, t.base)
	for r, j := range s.base {
		s.pos[j] = int32(r)
	}
	copy(s.off, t.off)
	clear(s.off[len(t.off):])
	s.pivots = t.pivots
}
