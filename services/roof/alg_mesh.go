package roof

import (
	"cmp"
	"math"
	"slices"
)

// mesh is the planes' rings on common nodes: points of two planes nearer than the
// tolerance are one node, and a node that near to another ring's side is put into
// that ring. After that, what two planes share is found by equality alone, and
// T-junctions have fallen apart into segments.
type mesh struct {
	planes    []Plane
	tolerance float64
	nodes     []Point
	rings     [][][]int // by plane; its outline first, counterclockwise, then openings
	sides     []side
	twins     map[[2]int]int // side by its nodes in direction
}

// side is one segment of one plane's rings, the plane on its left.
type side struct {
	plane, ring int
	a, b        int // nodes
	za, zb      float64
	meets       int // the side of the plane that meets this one, or -1
	under, over int // the side of the plane below or above the step here, or -1
	kind        Kind
	edge        int // in Roof.Edges, or -1
}

func newMesh(planes []Plane, extra []Point, tolerance float64) *mesh {
	m := &mesh{planes: planes, tolerance: tolerance}
	m.plant(extra)
	m.rings = make([][][]int, len(planes))
	for i := range planes {
		m.rings[i] = append(m.rings[i], m.thread(planes[i].Outline))
		for _, o := range planes[i].Openings {
			m.rings[i] = append(m.rings[i], m.thread(o.Outline))
		}
	}
	return m
}

func byPlace(p, q Point) int { return cmp.Or(cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y)) }

// plant makes the nodes: in order of place, so that the order of the planes does not
// matter, each point that no earlier node is near enough to. Extra points come last,
// so that they move no plane's.
func (m *mesh) plant(extra []Point) {
	var all []Point
	for i := range m.planes {
		all = append(all, m.planes[i].Outline...)
		for _, o := range m.planes[i].Openings {
			all = append(all, o.Outline...)
		}
	}
	slices.SortFunc(all, byPlace)
	for _, p := range all {
		if m.nearest(p) < 0 {
			m.nodes = append(m.nodes, p)
		}
	}
	for _, p := range extra {
		if m.nearest(p) < 0 {
			i, _ := slices.BinarySearchFunc(m.nodes, p, byPlace)
			m.nodes = slices.Insert(m.nodes, i, p)
		}
	}
}

// nearest is the node within the tolerance of p that is nearest to it, or -1.
func (m *mesh) nearest(p Point) int {
	best, least := -1, m.tolerance
	reach := Point{p.X - pad(m.tolerance), math.MinInt64}
	i, _ := slices.BinarySearchFunc(m.nodes, reach, byPlace)
	for ; i < len(m.nodes) && m.nodes[i].X <= p.X+pad(m.tolerance); i++ {
		if d := run(p, m.nodes[i]); d < least || d == least && best < 0 {
			best, least = i, d
		}
	}
	return best
}

// thread lays a ring over the nodes, taking in the nodes that lie on its sides.
func (m *mesh) thread(points []Point) []int {
	at := make([]int, len(points))
	for i, p := range points {
		at[i] = m.nearest(p)
	}
	var ring []int
	for i, a := range at {
		b := at[(i+1)%len(at)]
		if a == b {
			continue
		}
		ring = append(ring, a)
		ring = append(ring, m.between(a, b)...)
	}
	return ring
}

// between gives the nodes on the side from a to b, in that order.
func (m *mesh) between(a, b int) []int {
	pa, pb := m.nodes[a], m.nodes[b]
	grow := pad(m.tolerance)
	type stop struct {
		node  int
		along float64
	}
	var stops []stop
	i, _ := slices.BinarySearchFunc(m.nodes, Point{min(pa.X, pb.X) - grow, math.MinInt64}, byPlace)
	for ; i < len(m.nodes) && m.nodes[i].X <= max(pa.X, pb.X)+grow; i++ {
		n := m.nodes[i]
		if n.Y < min(pa.Y, pb.Y)-grow || n.Y > max(pa.Y, pb.Y)+grow || i == a || i == b {
			continue
		}
		if nm, along := distance(n, pa, pb); nm <= m.tolerance && along > 0 && along < 1 {
			stops = append(stops, stop{i, along})
		}
	}
	slices.SortFunc(stops, func(x, y stop) int { return cmp.Or(cmp.Compare(x.along, y.along), cmp.Compare(x.node, y.node)) })
	var nodes []int
	for _, s := range stops {
		nodes = append(nodes, s.node)
	}
	return nodes
}

// link makes the sides and finds each one's twin. Two planes on the same side of one
// segment overlap: the first such pair of sides is given back, or -1.
func (m *mesh) link() (first, second int) {
	m.sides, m.twins = m.sides[:0], make(map[[2]int]int)
	first, second = -1, -1
	for p, rings := range m.rings {
		for r, ring := range rings {
			for i, a := range ring {
				b := ring[(i+1)%len(ring)]
				m.sides = append(m.sides, side{plane: p, ring: r, a: a, b: b, meets: -1, under: -1, over: -1, edge: -1})
				n := len(m.sides) - 1
				if other, taken := m.twins[[2]int{a, b}]; !taken {
					m.twins[[2]int{a, b}] = n
				} else if first < 0 {
					first, second = other, n
				}
			}
		}
	}
	return first, second
}

// twin is the side that runs along s the other way, or -1.
func (m *mesh) twin(s int) int {
	if t, ok := m.twins[[2]int{m.sides[s].b, m.sides[s].a}]; ok {
		return t
	}
	return -1
}

func (m *mesh) ends(s int) (a, b Point) { return m.nodes[m.sides[s].a], m.nodes[m.sides[s].b] }
