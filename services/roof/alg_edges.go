package roof

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"bydark/events/quantity"
)

// seam is an edge in the making: a straight run of one plane's sides.
type seam struct {
	sides     []int
	low, high int // nodes
	edge      Edge
}

// seams joins the sides of each ring that are one edge to people: of one kind, between
// the same planes, in one line.
func (m *mesh) seams() []seam {
	var out []seam
	for start := 0; start < len(m.sides); {
		end := start
		for end < len(m.sides) && m.sides[end].plane == m.sides[start].plane && m.sides[end].ring == m.sides[start].ring {
			end++
		}
		out = append(out, m.ringSeams(start, end)...)
		start = end
	}
	return out
}

func (m *mesh) ringSeams(start, end int) []seam {
	n := end - start
	// Begin where an edge begins whatever the file's first point is: at a corner or a
	// change, or else at the first node by place.
	first := -1
	for i := range n {
		s, before := start+i, start+(i+n-1)%n
		if !m.sameEdge(before, s) || m.bent(m.sides[before].a, []int{m.sides[s].a}, m.sides[s].b) {
			first = i
			break
		}
	}
	if first < 0 {
		for i := range n {
			if first < 0 || byPlace(m.nodes[m.sides[start+i].a], m.nodes[m.sides[start+first].a]) < 0 {
				first = i
			}
		}
	}
	var out []seam
	var joined []int
	for i := range n {
		s := start + (first+i)%n
		if len(joined) > 0 && (!m.sameEdge(joined[0], s) || m.bent(m.sides[joined[0]].a, m.starts(joined[1:], s), m.sides[s].b)) {
			out = append(out, m.seam(joined)...)
			joined = nil
		}
		joined = append(joined, s)
	}
	return append(out, m.seam(joined)...)
}

func (m *mesh) starts(joined []int, s int) []int {
	nodes := make([]int, 0, len(joined)+1)
	for _, j := range joined {
		nodes = append(nodes, m.sides[j].a)
	}
	return append(nodes, m.sides[s].a)
}

// bent tells whether one of the nodes lies off the line from a to b.
func (m *mesh) bent(a int, nodes []int, b int) bool {
	for _, n := range nodes {
		nm, along := distance(m.nodes[n], m.nodes[a], m.nodes[b])
		if nm > m.tolerance || along <= 0 || along >= 1 {
			return true
		}
	}
	return false
}

// sameEdge tells whether two sides of one ring are of one kind, between the same
// planes.
func (m *mesh) sameEdge(s, t int) bool {
	x, y := m.sides[s], m.sides[t]
	return x.kind == y.kind && m.planeOf(x.meets) == m.planeOf(y.meets) &&
		m.planeOf(x.under) == m.planeOf(y.under) && m.planeOf(x.over) == m.planeOf(y.over)
}

func (m *mesh) planeOf(s int) int {
	if s < 0 {
		return -1
	}
	return m.sides[s].plane
}

// seam makes an edge of sides in a row. It makes none of an opening with nothing in
// it, nor twice of what two planes share.
func (m *mesh) seam(sides []int) []seam {
	first, last := m.sides[sides[0]], m.sides[sides[len(sides)-1]]
	if first.ring > 0 && first.meets < 0 && first.under < 0 && first.over < 0 {
		return nil
	}
	marks := []PlaneMark{m.planes[first.plane].Mark}
	if first.meets >= 0 {
		other := m.planes[m.planeOf(first.meets)].Mark
		if other < marks[0] {
			return nil
		}
		marks = append(marks, other)
	}
	e := Edge{Kind: first.kind, Planes: marks, From: m.nodes[first.a], To: m.nodes[last.b]}
	if first.under >= 0 {
		e.Below = m.planes[m.planeOf(first.under)].Mark
	}
	if first.over >= 0 {
		e.Above = m.planes[m.planeOf(first.over)].Mark
	}
	za, zb := first.za, last.zb
	if first.meets >= 0 {
		za, zb = (za+m.sides[first.meets].zb)/2, (zb+m.sides[last.meets].za)/2
	} else {
		e.FacingDeg = bearing(float64(e.To.Y-e.From.Y), -float64(e.To.X-e.From.X))
	}
	e.Length = trueLength(e.From, e.To, zb-za)
	e.Run = quantity.Length(math.Round(run(e.From, e.To)))
	e.FromHeight, e.ToHeight = quantity.Length(math.Round(za)), quantity.Length(math.Round(zb))
	out := seam{sides: sides, low: first.a, high: last.b}
	if cmp.Or(cmp.Compare(e.FromHeight, e.ToHeight), byPlace(e.From, e.To)) > 0 {
		e.From, e.To, e.FromHeight, e.ToHeight = e.To, e.From, e.ToHeight, e.FromHeight
		out.low, out.high = out.high, out.low
	}
	out.edge = e
	return []seam{out}
}

// bearing is the compass bearing of a vector, from 0 up to, not with, 360.
func bearing(x, y float64) float64 {
	deg := math.Atan2(x, y) * 180 / math.Pi
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 {
		return 0
	}
	return deg + 0 // no minus zero
}

// number sorts the seams by kind and place, marks them and tells their sides.
func (m *mesh) number(seams []seam) {
	slices.SortFunc(seams, func(x, y seam) int {
		a, b := &x.edge, &y.edge
		return cmp.Or(
			cmp.Compare(slices.Index(kinds, a.Kind), slices.Index(kinds, b.Kind)),
			cmp.Compare(a.From.Y+a.To.Y, b.From.Y+b.To.Y), cmp.Compare(a.From.X+a.To.X, b.From.X+b.To.X),
			cmp.Compare(a.FromHeight+a.ToHeight, b.FromHeight+b.ToHeight), byPlace(a.From, b.From),
			cmp.Compare(a.Planes[0], b.Planes[0]))
	})
	count := make(map[Kind]int)
	for i := range seams {
		e := &seams[i].edge
		count[e.Kind]++
		e.Mark = EdgeMark(fmt.Sprintf("%s-%d", e.Kind, count[e.Kind]))
		for _, s := range seams[i].sides {
			m.sides[s].edge = i
			if t := m.sides[s].meets; t >= 0 {
				m.sides[t].edge = i
			}
		}
	}
}
