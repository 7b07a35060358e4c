package roof

import (
	"fmt"
	"math"
	"slices"
)

// crosses tells whether the inner parts of ab and cd cross in one point.
func crosses(a, b, c, d Point) bool {
	if max(a.X, b.X) < min(c.X, d.X) || max(c.X, d.X) < min(a.X, b.X) ||
		max(a.Y, b.Y) < min(c.Y, d.Y) || max(c.Y, d.Y) < min(a.Y, b.Y) {
		return false
	}
	return turn(a, b, c).sign()*turn(a, b, d).sign() < 0 && turn(c, d, a).sign()*turn(c, d, b).sign() < 0
}

// distance is how far p lies from the segment ab, and how far along it, 0 to 1, the
// nearest place is.
func distance(p, a, b Point) (nm, along float64) {
	ex, ey := float64(b.X-a.X), float64(b.Y-a.Y)
	px, py := float64(p.X-a.X), float64(p.Y-a.Y)
	squared := ex*ex + ey*ey
	t := (px*ex + py*ey) / squared
	switch {
	case t <= 0:
		return run(p, a), 0
	case t >= 1:
		return run(p, b), 1
	}
	return math.Abs(turn(a, b, p).float()) / math.Sqrt(squared), t
}

// inside tells whether p, given in halves so that midpoints are whole, lies inside
// the rings by counting crossings of a ray to the east. On a border it may say either.
func inside(twice Point, rings [][]Point) bool {
	in := false
	for _, ring := range rings {
		b := ring[len(ring)-1]
		for _, a := range ring {
			if (2*a.Y > twice.Y) != (2*b.Y > twice.Y) {
				low, high := a, b
				if low.Y > high.Y {
					low, high = high, low
				}
				if turn(Point{2 * low.X, 2 * low.Y}, Point{2 * high.X, 2 * high.Y}, twice).sign() > 0 {
					in = !in
				}
			}
			b = a
		}
	}
	return in
}

// ring is an outline or an opening as it came, with its name for refusals.
type ring struct {
	name   string
	points []Point
}

func refuseAt(code string, mark PlaneMark, r ring, i int, was, want string) *Refusal {
	return &Refusal{Code: code, Where: place(mark, r.name, i, r.points[i]), Was: was, Want: want}
}

// checkRings refuses rings that cross or come nearer to themselves or each other than
// Clearance, and openings that do not lie inside the outline, rings[0].
func checkRings(mark PlaneMark, rings []ring) error {
	for _, r := range rings {
		if len(r.points) < 3 {
			return &Refusal{Code: "open-outline", Where: fmt.Sprintf("plane %s, %s", mark, r.name),
				Was: fmt.Sprintf("%d points", len(r.points)), Want: "three points or more that go round it"}
		}
		for i, p := range r.points {
			if q := r.points[(i+1)%len(r.points)]; run(p, q) < float64(Clearance) {
				return refuseAt("points-too-close", mark, r, (i+1)%len(r.points),
					fmt.Sprintf("%s from the point before it", length(run(p, q))), "1/8 in or more between points, each once")
			}
		}
	}
	for n, r := range rings {
		for i := range r.points {
			for m := n; m < len(rings); m++ {
				if err := checkSide(mark, r, i, rings[m], m == n); err != nil {
					return err
				}
			}
		}
		if n > 0 && !insideOthers(rings, n) {
			return refuseAt("opening-outside", mark, r, 0, "", "an opening inside the plane's outline and outside its other openings")
		}
	}
	return nil
}

// checkSide holds side i of r against every side and point of other.
func checkSide(mark PlaneMark, r ring, i int, other ring, same bool) error {
	a, b := r.points[i], r.points[(i+1)%len(r.points)]
	k := len(other.points)
	for j := range k {
		c, d := other.points[j], other.points[(j+1)%k]
		if far(a, b, c, d) {
			continue
		}
		if j > i || !same {
			if crosses(a, b, c, d) {
				code := "self-crossing"
				if !same {
					code = "opening-outside"
				}
				return refuseAt(code, mark, r, i, fmt.Sprintf("the side from there crosses the side of %s from point %d (%s, %s)", other.name, j+1, c.X, c.Y),
					"sides that do not cross")
			}
		}
		if !same || (j != i && j != (i+1)%k) {
			if nm, _ := distance(c, a, b); nm < float64(Clearance) {
				return refuseAt("too-narrow", mark, other, j, fmt.Sprintf("%s from the side of %s from point %d", length(nm), r.name, i+1),
					"1/8 in or more between a point and another side; a notch is drawn in the outline, not as an opening")
			}
		}
		if !same {
			if nm, _ := distance(a, c, d); nm < float64(Clearance) {
				return refuseAt("too-narrow", mark, r, i, fmt.Sprintf("%s from the side of %s from point %d", length(nm), other.name, j+1),
					"1/8 in or more between a point and another side; a notch is drawn in the outline, not as an opening")
			}
		}
	}
	return nil
}

// far tells, by boxes, that two sides are further apart than Clearance.
func far(a, b, c, d Point) bool {
	return max(a.X, b.X)+Clearance < min(c.X, d.X) || max(c.X, d.X)+Clearance < min(a.X, b.X) ||
		max(a.Y, b.Y)+Clearance < min(c.Y, d.Y) || max(c.Y, d.Y)+Clearance < min(a.Y, b.Y)
}

// insideOthers tells whether opening n lies in the outline and in no other opening,
// sides not crossing.
func insideOthers(rings []ring, n int) bool {
	for m, other := range rings {
		if m == n {
			continue
		}
		p := rings[n].points[0]
		if inside(Point{2 * p.X, 2 * p.Y}, [][]Point{other.points}) != (m == 0) {
			return false
		}
	}
	return true
}

// wind turns a ring counterclockwise, or clockwise, keeping its first point first.
func wind(points []Point, counterclockwise bool) []Point {
	if (twiceArea(points).sign() > 0) == counterclockwise {
		return points
	}
	turned := slices.Clone(points)
	slices.Reverse(turned[1:])
	return turned
}
