package roof

import (
	"math"
	"slices"

	"bydark/events/quantity"
)

// hang gives heights to the planes that the file left without one: so high that they
// meet a neighbour whose height is known, along the longest border at which both
// slope alike. Planes that hang on no given height hang on each other, the lowest of
// them at zero.
func (m *mesh) hang(given []bool) {
	known := slices.Clone(given)
	on := make([]int, len(m.planes)) // the plane each hangs on, or itself
	for i := range on {
		on[i] = i
	}
	for {
		if m.hangOne(known, on) {
			continue
		}
		start := m.firstUnknown(known)
		if start < 0 {
			break
		}
		known[start] = true
		m.planes[start].EaveHeight = 0
	}
	m.settle(given, on)
}

// firstUnknown is the plane without a height whose lowest point comes first by
// place, so that the order in the file does not matter.
func (m *mesh) firstUnknown(known []bool) int {
	best := -1
	for i := range m.planes {
		if !known[i] && (best < 0 || byPlace(m.planes[i].low, m.planes[best].low) < 0) {
			best = i
		}
	}
	return best
}

// hangOne gives one plane its height, the one with the longest fitting border.
func (m *mesh) hangOne(known []bool, on []int) bool {
	best, from, longest, height := -1, -1, 0.0, 0.0
	for s := range m.sides {
		t := m.twin(s)
		if t < 0 || known[m.sides[s].plane] || !known[m.sides[t].plane] {
			continue
		}
		p, q := &m.planes[m.sides[s].plane], &m.planes[m.sides[t].plane]
		a, b := m.ends(s)
		atA := float64(q.EaveHeight) + q.climb(a) - p.climb(a)
		atB := float64(q.EaveHeight) + q.climb(b) - p.climb(b)
		if math.Abs(atA-atB) > float64(Step)/2 {
			continue
		}
		l := run(a, b)
		if l > longest || l == longest && best >= 0 && byPlace(p.low, m.planes[best].low) < 0 {
			best, from, longest, height = m.sides[s].plane, m.sides[t].plane, l, (atA+atB)/2
		}
	}
	if best < 0 {
		return false
	}
	known[best], on[best] = true, from
	m.planes[best].EaveHeight = quantity.Length(math.Round(height))
	return true
}

// settle moves each group of planes that hang on each other, and on nothing given, so
// that its lowest eave is at zero.
func (m *mesh) settle(given []bool, on []int) {
	lowest := make(map[int]quantity.Length)
	root := func(i int) int {
		for on[i] != i {
			i = on[i]
		}
		return i
	}
	for i := range m.planes {
		r := root(i)
		if low, seen := lowest[r]; !seen || m.planes[i].EaveHeight < low {
			lowest[r] = m.planes[i].EaveHeight
		}
	}
	for i := range m.planes {
		if r := root(i); !given[r] {
			m.planes[i].EaveHeight -= lowest[r]
		}
	}
}
