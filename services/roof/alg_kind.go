package roof

import "math"

// At these angles the kinds part. They are common practice, not a rule of any code:
// nobody caps a line within three degrees of level as a hip, and a border within 45
// degrees of level on its plane is worked as an eave.
const (
	levelSlope   = 0.0524077792830412 // tangent of 3 degrees
	levelShare   = 0.25               // of the steeper plane's slope: keeps hips of low roofs hips
	eaveCosine   = math.Sqrt2/2 - 1e-9
	flatBend     = 0.008 // difference of slopes across an edge, half a degree: no ridge, no valley
	crossingEdge = 1e-9  // share of the slope below which water runs along an edge, not over it
)

// settleHeights gives each side its heights, cuts sides where two planes pass through
// each other, and tells which meet and which stand over one another.
func (m *mesh) settleHeights() {
	if m.cutSteps() {
		m.link()
	}
	for s := range m.sides {
		sd := &m.sides[s]
		p := &m.planes[sd.plane]
		sd.za = float64(p.EaveHeight) + p.climb(m.nodes[sd.a])
		sd.zb = float64(p.EaveHeight) + p.climb(m.nodes[sd.b])
	}
	for s := range m.sides {
		t := m.twin(s)
		if t < 0 {
			continue
		}
		da, db := m.sides[s].za-m.sides[t].zb, m.sides[s].zb-m.sides[t].za
		switch {
		case math.Abs(da) <= float64(Step) && math.Abs(db) <= float64(Step):
			m.sides[s].meets = t
		case da+db > 0:
			m.sides[s].under = t
		default:
			m.sides[s].over = t
		}
	}
}

// cutSteps puts a node where the planes on both sides of a segment pass through each
// other, one above at one end and below at the other.
func (m *mesh) cutSteps() bool {
	cuts := make(map[[2]int]int)
	for s := range m.sides {
		t := m.twin(s)
		if t < 0 || m.sides[s].a > m.sides[s].b {
			continue
		}
		p, q := &m.planes[m.sides[s].plane], &m.planes[m.sides[t].plane]
		a, b := m.ends(s)
		over := float64(p.EaveHeight - q.EaveHeight)
		da, db := over+p.climb(a)-q.climb(a), over+p.climb(b)-q.climb(b)
		if math.Min(da, db) >= -float64(Step) || math.Max(da, db) <= float64(Step) {
			continue
		}
		cut := between(a, b, da/(da-db))
		if run(a, cut) < float64(Clearance) || run(cut, b) < float64(Clearance) {
			continue
		}
		m.nodes = append(m.nodes, cut)
		cuts[[2]int{m.sides[s].a, m.sides[s].b}] = len(m.nodes) - 1
		cuts[[2]int{m.sides[s].b, m.sides[s].a}] = len(m.nodes) - 1
	}
	for p := range m.rings {
		for r, ring := range m.rings[p] {
			var out []int
			for i, a := range ring {
				out = append(out, a)
				if cut, ok := cuts[[2]int{a, ring[(i+1)%len(ring)]}]; ok {
					out = append(out, cut)
				}
			}
			m.rings[p][r] = out
		}
	}
	return len(cuts) > 0
}

// outward is the unit vector in plan that points out of the side's plane.
func (m *mesh) outward(s int) (x, y float64) {
	a, b := m.ends(s)
	l := run(a, b)
	return float64(b.Y-a.Y) / l, -float64(b.X-a.X) / l
}

// flow is how much of the side's plane's fall points out over the side, -1 to 1.
func (m *mesh) flow(s int) float64 {
	x, y := m.outward(s)
	p := &m.planes[m.sides[s].plane]
	return x*p.dx + y*p.dy
}

// name tells the side's kind.
func (m *mesh) name(s int) Kind {
	sd := &m.sides[s]
	switch {
	case sd.meets >= 0:
		return m.nameShared(s, sd.meets)
	case sd.over >= 0:
		return Wall
	}
	switch f := m.flow(s); {
	case f >= eaveCosine:
		return Eave
	case f <= -eaveCosine:
		return Ridge
	}
	return Rake
}

// nameShared tells what two planes make where they meet. Slopes are taken across the
// edge, from s's plane to t's.
func (m *mesh) nameShared(s, t int) Kind {
	steepS, steepT := m.planes[m.sides[s].plane].Pitch.Slope(), m.planes[m.sides[t].plane].Pitch.Slope()
	rise := -steepS * m.flow(s)
	onward := steepT * m.flow(t)
	bend := onward - rise // above zero: inwards
	if math.Abs(bend) < flatBend {
		return Break
	}
	a, b := m.ends(s)
	along := math.Abs(m.sides[s].zb-m.sides[s].za) / run(a, b)
	if along <= levelSlope && along <= levelShare*math.Max(steepS, steepT) {
		switch {
		case rise > 0 && onward < 0:
			return Ridge
		case rise < 0 && onward > 0:
			return Valley
		}
		return Break
	}
	if bend > 0 {
		return Valley
	}
	return Hip
}
