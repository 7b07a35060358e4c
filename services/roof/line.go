package roof

import (
	"math"

	"bydark/events/quantity"
)

// LineAcross is how far up the slope from the plane's lowest point a level line lies that has
// a share of the outline's area, 0 to 1, below it. Openings are not left out.
func LineAcross(p *Plane, share float64) quantity.Length {
	ups := make([]float64, len(p.Outline)) // uphill in plan, from the lowest point
	reach := 0.0
	for i, at := range p.Outline {
		_, down := p.across(at)
		ups[i] = -down
		reach = math.Max(reach, ups[i])
	}
	whole := math.Abs(areaBelow(p, ups, reach))
	low, high := 0.0, reach
	const steps = 60 // far below a nanometre
	for range steps {
		mid := (low + high) / 2
		if math.Abs(areaBelow(p, ups, mid)) < share*whole {
			low = mid
		} else {
			high = mid
		}
	}
	return quantity.Length(math.Round(high * p.SlopeFactor))
}

// areaBelow is twice the area of the outline below a level line, by clipping each side.
func areaBelow(p *Plane, ups []float64, line float64) float64 {
	type point struct{ x, y float64 }
	var kept []point
	at := func(i int) point {
		v, _ := p.across(p.Outline[i])
		return point{v, ups[i]}
	}
	for i := range ups {
		a, b := at(i), at((i+1)%len(ups))
		if a.y <= line {
			kept = append(kept, a)
		}
		if (a.y < line) != (b.y < line) && a.y != b.y {
			t := (line - a.y) / (b.y - a.y)
			kept = append(kept, point{a.x + t*(b.x-a.x), line})
		}
	}
	sum := 0.0
	for i, a := range kept {
		b := kept[(i+1)%len(kept)]
		sum += a.x*b.y - b.x*a.y
	}
	return sum
}
