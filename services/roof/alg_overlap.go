package roof

import (
	"fmt"
	"math"

	"bydark/events/quantity"
)

// overlap refuses planes that lie over each other in plan by more than the mesh's
// tolerance.
func (m *mesh) overlap() error {
	if s, t := m.link(); s >= 0 {
		a, b := m.ends(s)
		return m.overlapping(m.sides[s].plane, m.sides[t].plane, Point{a.X/2 + b.X/2, a.Y/2 + b.Y/2})
	}
	boxes := make([]box, len(m.planes))
	for i := range m.planes {
		boxes[i] = boxOf(m.planes[i].Outline)
	}
	for i := range m.planes {
		for j := range i {
			common, any := boxes[i].common(boxes[j])
			if !any {
				continue
			}
			if at, crossing := m.crossing(i, j, common); crossing {
				return m.overlapping(j, i, at)
			}
			if at, within := m.within(i, j, common); within {
				return m.overlapping(j, i, at)
			}
			if at, within := m.within(j, i, common); within {
				return m.overlapping(j, i, at)
			}
		}
	}
	return nil
}

func (m *mesh) overlapping(p, q int, at Point) error {
	a, b := m.planes[p].Mark, m.planes[q].Mark
	if a > b {
		a, b = b, a
	}
	return &Refusal{Code: "overlap", Where: fmt.Sprintf("planes %s and %s, at (%s, %s)", a, b, at.X, at.Y),
		Want: "planes that lie beside each other in plan; where one roof stands over another, cut the lower one back to the wall"}
}

// box is a rectangle in plan.
type box struct{ low, high Point }

func boxOf(points []Point) box {
	b := box{points[0], points[0]}
	for _, p := range points[1:] {
		b.low = Point{min(b.low.X, p.X), min(b.low.Y, p.Y)}
		b.high = Point{max(b.high.X, p.X), max(b.high.Y, p.Y)}
	}
	return b
}

// common is what lies in both boxes, with room for the tolerance round it.
func (b box) common(c box) (box, bool) {
	const room = 4 * Touch
	out := box{
		Point{max(b.low.X, c.low.X) - room, max(b.low.Y, c.low.Y) - room},
		Point{min(b.high.X, c.high.X) + room, min(b.high.Y, c.high.Y) + room},
	}
	return out, out.low.X <= out.high.X && out.low.Y <= out.high.Y
}

func (b box) holds(p, q Point) bool {
	return max(p.X, q.X) >= b.low.X && min(p.X, q.X) <= b.high.X && max(p.Y, q.Y) >= b.low.Y && min(p.Y, q.Y) <= b.high.Y
}

// segments gives the nodes of plane p's segments that reach into the box.
func (m *mesh) segments(p int, within box) [][2]int {
	var out [][2]int
	for _, ring := range m.rings[p] {
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if within.holds(m.nodes[a], m.nodes[b]) {
				out = append(out, [2]int{a, b})
			}
		}
	}
	return out
}

// crossing finds a place where sides of planes i and j cross.
func (m *mesh) crossing(i, j int, common box) (Point, bool) {
	others := m.segments(j, common)
	for _, s := range m.segments(i, common) {
		for _, t := range others {
			if s[0] == t[0] || s[0] == t[1] || s[1] == t[0] || s[1] == t[1] {
				continue
			}
			a, b, c, d := m.nodes[s[0]], m.nodes[s[1]], m.nodes[t[0]], m.nodes[t[1]]
			if crosses(a, b, c, d) {
				ca, cb := turn(c, d, a).float(), turn(c, d, b).float()
				return between(a, b, ca/(ca-cb)), true
			}
		}
	}
	return Point{}, false
}

// within finds a part of plane i's border inside plane j. No sides cross, so a piece
// of border lies inside if its one node off j's border does, or its middle.
func (m *mesh) within(i, j int, common box) (Point, bool) {
	on := make(map[int]bool)
	var rings [][]Point
	for _, ring := range m.rings[j] {
		points := make([]Point, len(ring))
		for k, n := range ring {
			on[n], points[k] = true, m.nodes[n]
		}
		rings = append(rings, points)
	}
	for _, s := range m.segments(i, common) {
		a, b := m.nodes[s[0]], m.nodes[s[1]]
		var twice Point
		switch {
		case !on[s[0]]:
			twice = Point{2 * a.X, 2 * a.Y}
		case !on[s[1]]:
			continue // tested as the next segment's first node
		case m.isSide(j, s):
			continue
		default:
			twice = Point{a.X + b.X, a.Y + b.Y}
		}
		if inside(twice, rings) {
			return Point{twice.X / 2, twice.Y / 2}, true
		}
	}
	return Point{}, false
}

// isSide tells whether the segment is plane j's as well, from the other side.
func (m *mesh) isSide(j int, s [2]int) bool {
	t, ok := m.twins[[2]int{s[1], s[0]}]
	return ok && m.sides[t].plane == j
}

// between is the place that far along from a to b, to the nanometre.
func between(a, b Point, along float64) Point {
	return Point{a.X + quantity.Length(math.Round(along*float64(b.X-a.X))), a.Y + quantity.Length(math.Round(along*float64(b.Y-a.Y)))}
}

func pad(nm float64) quantity.Length { return quantity.Length(nm) + 1 }
