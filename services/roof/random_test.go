package roof_test

import (
	"fmt"
	"math"
	"strings"

	"bydark/events/quantity"
	"bydark/services/roof"
	"pgregory.net/rapid"
)

// A sketch is a roof before it is written as a file: points in whole units.
type sketch struct {
	unit   quantity.Length
	planes []sketched
}

// closest is how near two corners lie to each other that are not one.
func (s sketch) closest() quantity.Length {
	least := math.Inf(1)
	var all [][2]int64
	for _, p := range s.planes {
		all = append(append(all, p.ring...), p.opening...)
	}
	for i, a := range all {
		for _, b := range all[:i] {
			if a != b {
				least = math.Min(least, math.Hypot(float64(a[0]-b[0]), float64(a[1]-b[1])))
			}
		}
	}
	return quantity.Length(min(least*float64(s.unit), float64(quantity.Metre)))
}

type sketched struct {
	ring     [][2]int64
	opening  [][2]int64
	rise     int
	falls    float64
	eave     int64 // in units
	hasEave  bool
	planMark string
}

func (s sketch) json() string {
	var b strings.Builder
	b.WriteString(`{"name":"random","planes":[`)
	for i, p := range s.planes {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"mark":%q,"pitch":"%d/12","falls_deg":%v,"outline":%s`, p.planMark, p.rise, p.falls, s.points(p.ring))
		if p.hasEave {
			fmt.Fprintf(&b, `,"eave_height":%q`, (s.unit * quantity.Length(p.eave)).Metric())
		}
		if p.opening != nil {
			fmt.Fprintf(&b, `,"openings":[%s]`, s.points(p.opening))
		}
		b.WriteByte('}')
	}
	b.WriteString("]}")
	return b.String()
}

func (s sketch) points(ring [][2]int64) string {
	var parts []string
	for _, p := range ring {
		parts = append(parts, fmt.Sprintf("[%q,%q]", (s.unit*quantity.Length(p[0])).Metric(), (s.unit*quantity.Length(p[1])).Metric()))
	}
	return "[" + strings.Join(parts, ",") + "]"
}

// turn is the sketch turned by quarter turns to the right, or mirrored west to east.
func (s sketch) turn(quarters int, mirror bool) sketch {
	move := func(ring [][2]int64) [][2]int64 {
		var out [][2]int64
		for _, p := range ring {
			x, y := p[0], p[1]
			if mirror {
				x = -x
			}
			for range quarters {
				x, y = y, -x
			}
			out = append(out, [2]int64{x, y})
		}
		return out
	}
	out := sketch{unit: s.unit}
	for _, p := range s.planes {
		p.ring, p.opening = move(p.ring), move(p.opening)
		if mirror {
			p.falls = math.Mod(360-p.falls, 360)
		}
		p.falls = math.Mod(p.falls+90*float64(quarters), 360)
		out.planes = append(out.planes, p)
	}
	return out
}

// cut splits a convex ring along a*x + b*y = c, with points rounded to whole units.
func cut(ring [][2]int64, a, b, c int64) (low, high [][2]int64) {
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		dp, dq := a*p[0]+b*p[1]-c, a*q[0]+b*q[1]-c
		if dp <= 0 {
			low = append(low, p)
		}
		if dp >= 0 {
			high = append(high, p)
		}
		if dp < 0 && dq > 0 || dp > 0 && dq < 0 {
			t := float64(dp) / float64(dp-dq)
			x := [2]int64{p[0] + int64(math.Round(t*float64(q[0]-p[0]))), p[1] + int64(math.Round(t*float64(q[1]-p[1])))}
			low, high = append(low, x), append(high, x)
		}
	}
	return low, high
}

func doubledArea(ring [][2]int64) int64 {
	var sum int64
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		sum += p[0]*q[1] - p[1]*q[0]
	}
	return sum
}

// quilt is a rectangle cut into convex planes by lines level, upright and at 45
// degrees through even places, so that every point is a whole inch and T-junctions lie
// on their sides exactly. Some planes have an opening; they fall as they like and
// step where they like.
func quilt(t *rapid.T) sketch {
	pieces := [][][2]int64{{{0, 0}, {480, 0}, {480, 360}, {0, 360}}}
	for range rapid.IntRange(0, 9).Draw(t, "cuts") {
		i := rapid.IntRange(0, len(pieces)-1).Draw(t, "piece")
		n := rapid.SampledFrom([][2]int64{{1, 0}, {0, 1}, {1, 1}, {1, -1}}).Draw(t, "normal")
		low, high := cut(pieces[i], n[0], n[1], 2*rapid.Int64Range(-180, 420).Draw(t, "at"))
		if doubledArea(low) > 200 && doubledArea(high) > 200 {
			pieces[i] = low
			pieces = append(pieces, high)
		}
	}
	s := sketch{unit: quantity.Inch}
	for i, ring := range pieces {
		if len(pieces) > 1 && rapid.IntRange(0, 9).Draw(t, "left out") == 0 {
			continue
		}
		p := sketched{
			ring: ring, planMark: fmt.Sprintf("P%d", i), rise: rapid.IntRange(1, 24).Draw(t, "rise"),
			falls: float64(rapid.IntRange(0, 23).Draw(t, "falls")) * 15, hasEave: rapid.Bool().Draw(t, "given"),
			eave: rapid.Int64Range(0, 40).Draw(t, "eave") * 12,
		}
		if rapid.IntRange(0, 2).Draw(t, "opening") == 0 {
			var x, y int64
			for _, q := range ring {
				x, y = x+q[0], y+q[1]
			}
			x, y = x/int64(len(ring)), y/int64(len(ring))
			p.opening = [][2]int64{{x - 3, y - 2}, {x + 4, y - 2}, {x + 4, y + 3}}
		}
		s.planes = append(s.planes, p)
	}
	if len(s.planes) == 0 {
		s.planes = append(s.planes, sketched{ring: pieces[0], planMark: "P", rise: 6, falls: 180})
	}
	return s
}

// hipped is a convex footprint with a plane rising from every side, the roof being
// the lowest of them everywhere, or, hollow, the highest falling to the middle: all
// planes meet, in ridges and hips or in valleys. Points are rounded to a micrometre.
func hipped(t *rapid.T) sketch {
	const unit = 1000 // nanometres
	sides := rapid.IntRange(3, 7).Draw(t, "sides")
	hollow := rapid.Bool().Draw(t, "hollow")
	var foot [][2]int64
	for i := range sides {
		angle := (float64(i) + float64(rapid.IntRange(0, 60).Draw(t, "angle"))/100) * 2 * math.Pi / float64(sides)
		foot = append(foot, [2]int64{int64(9e6 * math.Cos(angle)), int64(7e6 * math.Sin(angle))})
	}
	type slope struct{ nx, ny, c, s float64 }
	var slopes []slope
	var rises []int
	for i, p := range foot {
		q := foot[(i+1)%sides]
		l := math.Hypot(float64(q[0]-p[0]), float64(q[1]-p[1]))
		nx, ny := -float64(q[1]-p[1])/l, float64(q[0]-p[0])/l // inward
		rise := rapid.IntRange(2, 18).Draw(t, "rise")
		rises = append(rises, rise)
		slopes = append(slopes, slope{nx, ny, nx*float64(p[0]) + ny*float64(p[1]), float64(rise) / 12})
	}
	s := sketch{unit: unit}
	for i := range slopes {
		ring := make([][2]float64, len(foot))
		for k, p := range foot {
			ring[k] = [2]float64{float64(p[0]), float64(p[1])}
		}
		for j := range slopes {
			if i != j {
				a, b := slopes[i], slopes[j]
				ring = clip(ring, a.s*a.nx-b.s*b.nx, a.s*a.ny-b.s*b.ny, a.s*a.c-b.s*b.c)
			}
		}
		var whole [][2]int64
		for _, p := range ring {
			q := [2]int64{int64(math.Round(p[0])), int64(math.Round(p[1]))}
			if len(whole) == 0 || apart(q, whole[len(whole)-1]) && apart(q, whole[0]) {
				whole = append(whole, q)
			}
		}
		if len(whole) < 3 {
			continue
		}
		falls := math.Mod(math.Atan2(-slopes[i].nx, -slopes[i].ny)*180/math.Pi+360, 360)
		p := sketched{ring: whole, planMark: fmt.Sprintf("H%d", i), rise: rises[i], falls: falls}
		if hollow {
			p.falls = math.Mod(falls+180, 360)
		}
		s.planes = append(s.planes, p)
	}
	return s
}

func apart(p, q [2]int64) bool { return math.Hypot(float64(p[0]-q[0]), float64(p[1]-q[1])) > 3200 }

// clip keeps the part of a convex ring where a*x + b*y <= c.
func clip(ring [][2]float64, a, b, c float64) [][2]float64 {
	var out [][2]float64
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		dp, dq := a*p[0]+b*p[1]-c, a*q[0]+b*q[1]-c
		if dp <= 0 {
			out = append(out, p)
		}
		if dp < 0 && dq > 0 || dp > 0 && dq < 0 {
			t := dp / (dp - dq)
			out = append(out, [2]float64{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])})
		}
	}
	return out
}

// anyRoof draws a sketch and reads it; a sketch that comes too near to itself is
// refused and drawn anew.
func anyRoof(t *rapid.T) (sketch, *roof.Roof) {
	make := rapid.SampledFrom([]func(*rapid.T) sketch{quilt, hipped}).Draw(t, "sort")
	s := make(t)
	if len(s.planes) == 0 {
		t.Skip("all planes too small")
	}
	r, err := roof.Read([]byte(s.json()))
	if err != nil {
		if strings.Contains(err.Error(), "too-narrow") || strings.Contains(err.Error(), "points-too-close") || strings.Contains(err.Error(), "opening-outside") {
			t.Skip("too narrow")
		}
		t.Fatalf("%v\n%s", err, s.json())
	}
	return s, r
}
