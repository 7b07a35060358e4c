package roof

import (
	"cmp"
	"math"
	"slices"

	"bydark/events/quantity"
)

// catchment is how the rain on one plane reaches its lower borders.
type catchment struct {
	// area by the side over which it leaves, in square nanometres
	area map[int]float64
	// pass tells, for a side over which water comes in, over which sides it leaves,
	// by the width of the stream
	pass map[int][]outflow
	// low are the sides over which water leaves, for a stream from one point
	low []stretch
}

// outflow is part of a stream on its way to a side; along tells that it comes along the
// side's edge and not over its plane.
type outflow struct {
	side  int
	width float64
	along bool
}

// stretch is a side in the plane's own directions: v across, u downhill.
type stretch struct {
	side           int
	v1, u1, v2, u2 float64 // v1 < v2
	exit, hole     bool
}

func (s *stretch) at(v float64) float64 { return s.u1 + (s.u2-s.u1)*(v-s.v1)/(s.v2-s.v1) }

// across gives a place in plane p's own directions.
func (p *Plane) across(at Point) (v, u float64) {
	x, y := float64(at.X-p.low.X), float64(at.Y-p.low.Y)
	return x*p.dy - y*p.dx, x*p.dx + y*p.dy
}

// catch cuts a plane at every corner into columns that run downhill and gives each
// column's area to the side at its foot. What meets an opening with nothing in it runs
// round it and on.
func (m *mesh) catch(p int, sides []int) catchment {
	var all []stretch
	var cuts []float64
	for _, s := range sides {
		sd := &m.sides[s]
		if math.Abs(m.flow(s)) <= crossingEdge {
			continue
		}
		v1, u1 := m.planes[p].across(m.nodes[sd.a])
		v2, u2 := m.planes[p].across(m.nodes[sd.b])
		st := stretch{side: s, v1: v1, u1: u1, v2: v2, u2: u2, exit: m.flow(s) > 0, hole: sd.ring > 0 && m.twin(s) < 0}
		if v1 > v2 {
			st.v1, st.u1, st.v2, st.u2 = v2, u2, v1, u1
		}
		all = append(all, st)
		cuts = append(cuts, v1, v2)
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	c := catchment{area: make(map[int]float64), pass: make(map[int][]outflow)}
	for _, st := range all {
		if st.exit && !st.hole {
			c.low = append(c.low, st)
		}
	}
	slices.SortFunc(all, func(a, b stretch) int { return cmp.Compare(a.v1, b.v1) })
	var column []*stretch
	next := 0
	for i := range max(0, len(cuts)-1) {
		left, right := cuts[i], cuts[i+1]
		column = slices.DeleteFunc(column, func(s *stretch) bool { return s.v2 <= left })
		for ; next < len(all) && all[next].v1 <= left; next++ {
			column = append(column, &all[next])
		}
		c.fill(column, left, right)
	}
	return c
}

// fill shares out one column between two cuts.
func (c *catchment) fill(column []*stretch, left, right float64) {
	mid := left + (right-left)/2
	slices.SortFunc(column, func(a, b *stretch) int { return cmp.Compare(a.at(mid), b.at(mid)) })
	source, carried, top := -1, 0.0, 0.0
	for _, s := range column {
		switch {
		case !s.exit:
			top = s.at(mid)
			if !s.hole {
				source, carried = s.side, 0
			}
		default:
			carried += (right - left) * (s.at(mid) - top)
			if s.hole {
				continue
			}
			c.area[s.side] += carried
			if source >= 0 {
				c.pass[source] = append(c.pass[source], outflow{side: s.side, width: right - left})
			}
			source, carried = -1, 0
		}
	}
}

// under is the side over which a stream leaves that starts at v, u; -1 if none.
func (c *catchment) under(v, u float64) int {
	best, nearest := -1, math.Inf(1)
	for i := range c.low {
		s := &c.low[i]
		if v < s.v1 || v > s.v2 {
			continue
		}
		if down := s.at(v) - u; down > 0 && down < nearest {
			best, nearest = s.side, down
		}
	}
	return best
}

// share gives out whole in proportion to the weights, to the last unit: what rounding
// leaves goes to the heaviest.
func share(whole quantity.Area, weights []float64) []quantity.Area {
	parts := make([]quantity.Area, len(weights))
	total, heaviest := 0.0, 0
	for i, w := range weights {
		total += w
		if w > weights[heaviest] {
			heaviest = i
		}
	}
	left := whole
	for i, w := range weights {
		parts[i] = quantity.Area(math.Round(float64(whole) * (w / total)))
		left -= parts[i]
	}
	parts[heaviest] += left
	return parts
}
