package roof

import "math"

// label is the room that words or an arrow take in the drawing: a box turned round its
// middle.
type label struct {
	x, y         float64
	sin, cos     float64
	half, halfUp float64 // along the words and across them
}

// labelOf is the room of words of a size on their middle, turned by an angle in degrees.
func labelOf(x, y, angle, size float64, words string) label {
	sin, cos := math.Sincos(angle * math.Pi / 180)
	// The words stand on their base line: their middle is a third of the size above it.
	up := 0.33 * size
	return label{x + sin*up, y - cos*up, sin, cos, 0.28 * size * float64(len([]rune(words))), 0.48 * size}
}

func (l label) corners() [4][2]float64 {
	var out [4][2]float64
	for i, c := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		u, v := c[0]*l.half, c[1]*l.halfUp
		out[i] = [2]float64{l.x + u*l.cos - v*l.sin, l.y + u*l.sin + v*l.cos}
	}
	return out
}

// apart tells whether the boxes are apart as seen along l's own two axes.
func (l label) apart(m label) bool {
	c := m.corners()
	for _, axis := range [2]struct{ x, y, half float64 }{{l.cos, l.sin, l.half}, {-l.sin, l.cos, l.halfUp}} {
		low, high := math.Inf(1), math.Inf(-1)
		for _, p := range c {
			along := (p[0]-l.x)*axis.x + (p[1]-l.y)*axis.y
			low, high = min(low, along), max(high, along)
		}
		if low >= axis.half || high <= -axis.half {
			return true
		}
	}
	return false
}

// isFree tells whether nothing that was written lies in the room of labels.
func (d *drawing) isFree(labels ...label) bool {
	for _, l := range labels {
		for _, t := range d.taken {
			if math.Hypot(l.x-t.x, l.y-t.y) < l.half+l.halfUp+t.half+t.halfUp && !l.apart(t) && !t.apart(l) {
				return false
			}
		}
	}
	return true
}

func (d *drawing) take(labels ...label) { d.taken = append(d.taken, labels...) }

// mostCrossed bounds the edges up to which words keep off the lines of other edges.
const mostCrossed = 400

// crossesEdge tells whether a line of an edge other than its own runs through a label.
func (d *drawing) crossesEdge(l label, own EdgeMark) bool {
	if len(d.roof.Edges) > mostCrossed {
		return false
	}
	for i := range d.roof.Edges {
		e := &d.roof.Edges[i]
		if e.Mark == own {
			continue
		}
		x1, y1 := d.at(e.From)
		x2, y2 := d.at(e.To)
		if l.isCut(x1, y1, x2, y2) {
			return true
		}
	}
	return false
}

// isCut tells whether a line runs through the box, by cutting the line back to it.
func (l label) isCut(x1, y1, x2, y2 float64) bool {
	u1, v1 := (x1-l.x)*l.cos+(y1-l.y)*l.sin, -(x1-l.x)*l.sin+(y1-l.y)*l.cos
	u2, v2 := (x2-l.x)*l.cos+(y2-l.y)*l.sin, -(x2-l.x)*l.sin+(y2-l.y)*l.cos
	from, to := 0.0, 1.0
	for _, c := range [2]struct{ a, b, half float64 }{{u1, u2, l.half}, {v1, v2, l.halfUp}} {
		if c.a == c.b {
			if math.Abs(c.a) >= c.half {
				return false
			}
			continue
		}
		t1, t2 := (-c.half-c.a)/(c.b-c.a), (c.half-c.a)/(c.b-c.a)
		from, to = max(from, min(t1, t2)), min(to, max(t1, t2))
	}
	return from < to
}

// isInside tells whether a label's corners lie on the plane.
func (d *drawing) isInside(l label, rings [][]Point) bool {
	for _, c := range l.corners() {
		if !inside(d.twice(c[0], c[1]), rings) {
			return false
		}
	}
	return true
}
