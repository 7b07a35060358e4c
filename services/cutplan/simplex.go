package cutplan

import "math"

// simplex is a revised simplex method over a growing pool of columns: cover every size (rows of sizes, >=), take no more
// bars than there are (rows of counted stock, <=), at least cost. It starts warm after columns came (primal steps) and
// after demands fell or columns were barred (dual steps). It works in floating point; nothing it says is taken as proof
// (see master.certified).
type simplex struct {
	m     int
	rhs   []float64
	start []int32 // column j is row/val[start[j]:start[j+1]]
	row   []int32
	val   []float64
	cost  []float64
	off   []bool  // barred: must stay at zero
	pos   []int32 // row in which the column is basic, or -1
	base  []int32
	first []int32 // the basis to begin with
	x     []float64
	y     []float64

	d, weight []float64
	f         factor
	alpha     []float64
	rho       []float64
	stall     int
}

const (
	costTol  = 1e-10
	pivotTol = 1e-8
	feasTol  = 1e-9
	maxEtas  = 64
)

func newSimplex(rhs []float64) *simplex {
	m := len(rhs)
	return &simplex{m: m, rhs: append([]float64(nil), rhs...), start: []int32{0}, base: make([]int32, m),
		x: make([]float64, m), y: make([]float64, m), alpha: make([]float64, m), rho: make([]float64, m)}
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

// begin takes a basis of unit columns, one a row; whatever the demands, it is feasible.
func (s *simplex) begin(base []int32) {
	s.first = append(s.first[:0], base...)
	s.fallBack()
}

// fallBack returns to the first basis, when rounding has spoilt the present one.
func (s *simplex) fallBack() {
	for _, j := range s.base {
		s.pos[j] = -1
	}
	copy(s.base, s.first)
	s.refactor()
}

// refresh computes x and y from the factors.
func (s *simplex) refresh() {
	copy(s.x, s.rhs)
	s.f.ftran(s.x)
	for r, j := range s.base {
		s.y[r] = s.cost[j]
	}
	s.f.btran(s.y)
}

// refactor makes the factors anew. A basis that turns out singular is given up for the first one.
func (s *simplex) refactor() {
	if !s.f.build(s) {
		for _, j := range s.base {
			s.pos[j] = -1
		}
		copy(s.base, s.first)
		s.f.build(s)
	}
	s.refresh()
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
		s.alpha[s.row[k]] = s.val[k]
	}
	s.f.ftran(s.alpha)
}

// line fills rho with row r of B⁻¹.
func (s *simplex) line(r int) {
	clear(s.rho)
	s.rho[r] = 1
	s.f.btran(s.rho)
}

// pivot lets q enter at row r with its reduced cost d; alpha and rho are ready.
func (s *simplex) pivot(r int, q int32, d float64) {
	step := s.x[r] / s.alpha[r]
	for i, a := range s.alpha {
		s.x[i] -= a * step
	}
	s.x[r] = step
	g := d / s.alpha[r]
	for i, v := range s.rho {
		s.y[i] += g * v
	}
	s.pos[s.base[r]] = -1
	s.base[r] = q
	s.pos[q] = int32(r)
	s.f.exchange(r, s.alpha)
	if len(s.f.etaRow) >= maxEtas {
		s.refactor()
	}
}

// priceAll computes every reduced cost anew.
func (s *simplex) priceAll() {
	for len(s.d) < len(s.cost) {
		s.d = append(s.d, 0)
		s.weight = append(s.weight, 1)
	}
	for j := range s.cost {
		s.d[j] = 0
		s.weight[j] = 1
		if s.pos[j] < 0 {
			s.d[j] = s.reduced(j)
		}
	}
}

// best is the column to enter: the steepest by the reference weights of Forrest and Goldfarb ("Steepest-edge simplex
// algorithms", 1992, after Harris's Devex), or the lowest-numbered one that helps when steps stand still (Bland 1977).
func (s *simplex) best() int32 {
	q, top := int32(-1), 0.0
	for j, d := range s.d {
		if d >= -costTol || s.pos[j] >= 0 || s.off[j] {
			continue
		}
		if s.stall > 400 {
			return int32(j)
		}
		if v := d * d / s.weight[j]; v > top {
			q, top = int32(j), v
		}
	}
	return q
}

// carry updates reduced costs and weights for q entering at row r; rho and alpha are ready.
func (s *simplex) carry(r int, q int32) {
	step := s.d[q] / s.alpha[r]
	wq := s.weight[q]
	inv := 1 / s.alpha[r]
	for j := range s.cost {
		if s.pos[j] >= 0 || s.off[j] {
			continue
		}
		a := 0.0
		lo, hi := s.start[j], s.start[j+1]
		vals := s.val[lo:hi]
		for k, i := range s.row[lo:hi] {
			a += s.rho[i] * vals[k]
		}
		if a == 0 {
			continue
		}
		s.d[j] -= step * a
		a *= inv
		if w := a * a * wq; w > s.weight[j] {
			s.weight[j] = w
		}
	}
	out := s.base[r]
	s.d[out] = -step
	s.weight[out] = max(wq*inv*inv, 1)
	s.d[q] = 0
}

// primal runs until no column of the pool improves. It reports false when stopped.
func (s *simplex) primal(stop func() bool) bool {
	s.stall = 0
	s.priceAll()
	fresh := true
	for n := 1; ; n++ {
		if stop() {
			return false
		}
		q := s.best()
		if q < 0 || s.stall > 5000 {
			if fresh || s.stall > 5000 {
				return true
			}
			s.priceAll() // the carried costs drift
			fresh = true
			continue
		}
		d := s.d[q]
		s.direction(q)
		r, ratio := s.leaving()
		if r < 0 {
			return true // costs are never negative, so this is rounding; the pool is as good as done
		}
		if ratio*-d < 1e-12 {
			s.stall++
		} else {
			s.stall = 0
		}
		s.line(r)
		s.carry(r, q)
		fresh = false
		s.pivot(r, q, d)
		if len(s.f.etaRow) == 0 {
			s.priceAll()
			fresh = true
		}
	}
}

// leaving is the row where the entering column, whose direction is alpha, is stopped first, and after how long a way.
// Values may overshoot zero by feasTol so that a large pivot can be had (Harris, "Pivot selection methods of the Devex LP
// code", 1973). Barred columns in the basis must not move at all.
func (s *simplex) leaving() (r int, ratio float64) {
	far := math.Inf(1)
	for i, a := range s.alpha {
		switch {
		case math.Abs(a) <= pivotTol:
		case s.off[s.base[i]]:
			far = min(far, feasTol/math.Abs(a))
		case a > 0:
			far = min(far, (max(s.x[i], 0)+feasTol)/a)
		}
	}
	r = -1
	size := 0.0
	for i, a := range s.alpha {
		t := math.Inf(1)
		switch {
		case math.Abs(a) <= pivotTol:
		case s.off[s.base[i]]:
			t = 0
		case a > 0:
			t = max(s.x[i], 0) / a
		}
		if t <= far && math.Abs(a) > size {
			r, size, ratio = i, math.Abs(a), t
		}
	}
	return r, ratio
}

// dual runs until every basic value is within its bounds again: none below zero, barred columns at zero. It reports
// false when stopped or when the pool holds no such point.
func (s *simplex) dual(stop func() bool) bool {
	for n := 1; n < 20000; n++ {
		if stop() {
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
		s.line(r)
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
				a += s.rho[i] * vals[k]
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
			if len(s.f.etaRow) == 0 {
				return false
			}
			s.refactor()
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

// snapshot is what a dive needs to come back: demands, basis, barred columns.
type snapshot struct {
	rhs  []float64
	base []int32
	off  []bool
}

func (s *simplex) save() snapshot {
	return snapshot{append([]float64(nil), s.rhs...), append([]int32(nil), s.base...), append([]bool(nil), s.off...)}
}

// restore keeps columns added since; they stand outside the basis and are allowed.
func (s *simplex) restore(t snapshot) {
	copy(s.rhs, t.rhs)
	for _, j := range s.base {
		s.pos[j] = -1
	}
	copy(s.base, t.base)
	copy(s.off, t.off)
	clear(s.off[len(t.off):])
	s.refactor()
}
