package roof

import (
	"math"
	"slices"

	"bydark/events/quantity"
)

// drain follows the rain: over which edges it leaves each plane, what then comes to
// each edge from above, and where it leaves the roof.
func (m *mesh) drain(seams []seam) {
	f := flow{mesh: m, seams: seams, amount: make([]quantity.Area, len(m.sides)), corners: make(map[int][]int)}
	byPlane := make([][]int, len(m.planes))
	for s := range m.sides {
		byPlane[m.sides[s].plane] = append(byPlane[m.sides[s].plane], s)
		f.corners[m.sides[s].a] = append(f.corners[m.sides[s].a], s)
	}
	for p := range m.planes {
		f.catchments = append(f.catchments, m.catch(p, byPlane[p]))
		f.shed(p, byPlane[p])
	}
	f.run()
	for p := range m.planes {
		for i, d := range f.first {
			if area := d[p]; area > 0 {
				m.planes[p].Drains = append(m.planes[p].Drains, Drain{seams[i].edge.Mark, area})
			}
		}
	}
}

type flow struct {
	*mesh
	seams      []seam
	catchments []catchment
	corners    map[int][]int // the sides that start at a node
	amount     []quantity.Area
	first      []map[int]quantity.Area // by edge and plane
}

// shed gives the plane's area to the sides over which its rain leaves.
func (f *flow) shed(p int, sides []int) {
	if f.first == nil {
		f.first = make([]map[int]quantity.Area, len(f.seams))
	}
	var out []int
	var weights []float64
	for _, s := range sides {
		if w := f.catchments[p].area[s]; w > 0 {
			out, weights = append(out, s), append(weights, w)
		}
	}
	for i, part := range share(f.planes[p].PlanArea, weights) {
		s, e := out[i], f.sides[out[i]].edge
		f.amount[s] += part
		f.seams[e].edge.Sheds += part
		if f.first[e] == nil {
			f.first[e] = make(map[int]quantity.Area)
		}
		f.first[e][p] += part
	}
}

// run passes every side's water on, from above to below: a side is done when all that
// comes to it has come. Water that would run in a ring, as it can between planes that
// meet only within Step, leaves the roof before it comes round.
func (f *flow) run() {
	onward := make([][]outflow, len(f.sides))
	waits := make([]int, len(f.sides))
	for s := range f.sides {
		if f.sides[s].edge < 0 {
			continue
		}
		onward[s] = f.onward(s)
		for _, o := range onward[s] {
			if o.side != gone {
				waits[o.side]++
			}
		}
	}
	done := make([]bool, len(f.sides))
	var ready []int
	release := func(s int) {
		for _, o := range onward[s] {
			if o.side == gone {
				continue
			}
			if waits[o.side]--; waits[o.side] == 0 && !done[o.side] {
				done[o.side] = true
				ready = append(ready, o.side)
			}
		}
	}
	for s := range f.sides {
		if waits[s] == 0 {
			done[s] = true
			ready = append(ready, s)
		}
	}
	for {
		for len(ready) > 0 {
			s := ready[len(ready)-1]
			ready = ready[:len(ready)-1]
			f.pass(s, onward[s])
			release(s)
		}
		ring := slices.Index(done, false)
		if ring < 0 {
			return
		}
		for s := range onward {
			for i, o := range onward[s] {
				if o.side == ring && !done[s] {
					onward[s] = slices.Clone(onward[s]) // shared with the plane's catchment
					onward[s][i].side = gone
				}
			}
		}
		done[ring] = true
		ready = append(ready, ring)
	}
}

// pass books what has come to a side and hands it on.
func (f *flow) pass(s int, onward []outflow) {
	whole := f.amount[s]
	if whole == 0 {
		return
	}
	e := &f.seams[f.sides[s].edge].edge
	e.Drains += whole
	if len(onward) == 0 {
		e.Leaves += whole
		return
	}
	weights := make([]float64, len(onward))
	for i, o := range onward {
		weights[i] = o.width
	}
	for i, part := range share(whole, weights) {
		if onward[i].side == gone {
			e.Leaves += part
			continue
		}
		f.amount[onward[i].side] += part
		e.runOn(f.over(onward[i]), f.seams[f.sides[onward[i].side].edge].edge.Mark, part)
	}
}

// over is the plane that water crosses on its way to a side; none where it comes along
// the edge.
func (f *flow) over(o outflow) PlaneMark {
	if o.along {
		return ""
	}
	return f.planes[f.sides[o.side].plane].Mark
}

// runOn books water that runs on to another edge.
func (e *Edge) runOn(over PlaneMark, to EdgeMark, area quantity.Area) {
	if area == 0 {
		return
	}
	for i := range e.Runs {
		if r := &e.Runs[i]; r.Over == over && r.To == to {
			r.PlanArea += area
			return
		}
	}
	e.Runs = append(e.Runs, Run{over, to, area})
}

// onward tells where water goes that has come to a side of its own plane: on over the
// next plane, along the edge to its low end, or nowhere: off the roof.
func (f *flow) onward(s int) []outflow {
	sd := &f.sides[s]
	next := max(sd.meets, sd.under)
	switch {
	case next >= 0 && f.flow(next) < -crossingEdge:
		return f.catchments[f.sides[next].plane].pass[next]
	case next >= 0 || sd.over >= 0:
		return f.along(s)
	}
	return nil
}

// gone is the side of water that leaves the roof.
const gone = -1

// along follows a valley, or the foot of a wall, to its low end, and a level one to
// both ends: from there on down a plane, or into the next valley, or off the roof.
func (f *flow) along(s int) []outflow {
	sm := &f.seams[f.sides[s].edge]
	low := f.from(s, sm.low, sm.edge.FromHeight)
	if !sm.level() {
		return []outflow{low}
	}
	return []outflow{low, f.from(s, sm.high, sm.edge.ToHeight)}
}

// from is where water runs on that has come along side s's edge to one of its ends at
// that height.
func (f *flow) from(s, end int, height quantity.Length) outflow {
	for _, c := range f.corners[end] {
		if f.sides[c].za > float64(height+Step) {
			continue
		}
		if to := f.downFrom(c); to >= 0 && to != s {
			return outflow{side: to, width: 1}
		}
	}
	fromLevel := f.seams[f.sides[s].edge].level()
	for i := range f.seams {
		next := &f.seams[i]
		begins := next.high == end || next.level() && next.low == end
		if begins && !(fromLevel && next.level()) && i != f.sides[s].edge && f.gathers(next.sides[0]) {
			return outflow{next.sides[0], 1, true}
		}
	}
	return outflow{side: gone, width: 1}
}

// level tells whether water along the seam runs to both ends.
func (sm *seam) level() bool {
	const least = 1e-3
	return float64(sm.edge.ToHeight-sm.edge.FromHeight) <= least*float64(sm.edge.Run)
}

// gathers tells whether water runs along the side's edge.
func (f *flow) gathers(s int) bool {
	sd := &f.sides[s]
	if sd.meets >= 0 {
		return f.flow(s) > crossingEdge && f.flow(sd.meets) >= -crossingEdge ||
			f.flow(sd.meets) > crossingEdge && f.flow(s) >= -crossingEdge
	}
	return sd.over >= 0 && f.flow(s) > crossingEdge
}

// downFrom is the side over which water leaves the plane of side c that starts at c's
// first node, or -1 where downhill from that node does not lead into the plane.
func (f *flow) downFrom(c int) int {
	sd := &f.sides[c]
	p := &f.planes[sd.plane]
	before := c - 1
	for before < 0 || f.sides[before].plane != sd.plane || f.sides[before].ring != sd.ring || f.sides[before].b != sd.a {
		// The side that ends at this node: the one before, or the ring's last.
		before = f.lastOfRing(c)
	}
	n := f.nodes[sd.a]
	next, back := f.nodes[sd.b], f.nodes[f.sides[before].a]
	start := math.Atan2(float64(next.Y-n.Y), float64(next.X-n.X))
	open := turned(math.Atan2(float64(back.Y-n.Y), float64(back.X-n.X)) - start)
	down := turned(math.Atan2(p.dy, p.dx) - start)
	const hair = 1e-6
	if down > 2*math.Pi-hair {
		down = 0
	}
	if down > open+hair {
		return -1
	}
	v, u := p.across(n)
	// Half an inch into the plane, where the stream starts at the end of a side that
	// runs straight down.
	switch inch := float64(quantity.Inch / 2); {
	case down < hair:
		v -= inch
	case down > open-hair:
		v += inch
	}
	return f.catchments[sd.plane].under(v, u)
}

func (f *flow) lastOfRing(c int) int {
	last := c
	for last+1 < len(f.sides) && f.sides[last+1].plane == f.sides[c].plane && f.sides[last+1].ring == f.sides[c].ring {
		last++
	}
	return last
}

// turned is an angle from 0 up to a full turn.
func turned(angle float64) float64 {
	if angle < 0 {
		angle += 2 * math.Pi
	}
	return angle
}
