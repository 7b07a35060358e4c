package roof

import (
	"math"

	"bydark/events/quantity"
)

// Plane is one flat part of a roof.
type Plane struct {
	Mark PlaneMark
	// Outline runs counterclockwise seen from above, in plan, not closed.
	Outline  []Point
	Openings []Opening
	Pipes    []Pipe
	Pitch    quantity.Pitch
	// FallsDeg is the compass bearing in which water runs off, 0 north, 90 east, from
	// 0 up to, not with, 360.
	FallsDeg float64
	// EaveHeight is the height of the outline's lowest point.
	EaveHeight quantity.Length
	// PlanArea is exact, openings left out; Area is the true area on the slope.
	PlanArea, Area quantity.Area
	// SlopeFactor is true area over plan area.
	SlopeFactor float64
	// Drains tells over which edges the rain that falls on this plane leaves it. The
	// areas add up to PlanArea exactly.
	Drains []Drain

	low    Point
	dx, dy float64 // downhill in plan, of length 1
}

// Drain is the part of a plane, in plan, whose water leaves it over one edge.
type Drain struct {
	Edge     EdgeMark
	PlanArea quantity.Area
}

// Downhill is the direction in plan in which water runs, as a vector of length 1,
// exact for falls to the four quarters.
func (p *Plane) Downhill() (x, y float64) { return p.dx, p.dy }

// Height is the height of the plane above or below a place in plan, on its outline or
// beyond it: EaveHeight plus the slope times the run uphill from the lowest point.
func (p *Plane) Height(at Point) quantity.Length {
	return p.EaveHeight + quantity.Length(math.Round(p.climb(at)))
}

// climb is the height in nanometres over the plane's lowest point.
func (p *Plane) climb(at Point) float64 {
	return p.Pitch.Slope() * (float64(p.low.X-at.X)*p.dx + float64(p.low.Y-at.Y)*p.dy)
}

// lay finds the direction and the lowest point of p's outline.
func (p *Plane) lay() {
	p.dx, p.dy = downhill(p.FallsDeg)
	p.low = p.Outline[0]
	first, lowest := p.Outline[0], 0.0
	for _, q := range p.Outline[1:] {
		if down := float64(q.X-first.X)*p.dx + float64(q.Y-first.Y)*p.dy; down > lowest {
			p.low, lowest = q, down
		}
	}
}

// measure fills the areas and the perimeters of the openings.
func (p *Plane) measure() {
	p.SlopeFactor = SlopeFactor(p.Pitch)
	twice := twiceArea(p.Outline)
	for i := range p.Openings {
		o := &p.Openings[i]
		hole := twiceArea(o.Outline)
		twice = twice.plus(hole) // clockwise, so below zero
		hole = wide{}.minus(hole)
		o.PlanArea = hole.halfArea()
		o.Area = trueArea(hole, p.SlopeFactor)
		for j, a := range o.Outline {
			b := o.Outline[(j+1)%len(o.Outline)]
			o.Perimeter += trueLength(a, b, p.climb(b)-p.climb(a))
		}
	}
	p.PlanArea = twice.halfArea()
	p.Area = trueArea(twice, p.SlopeFactor)
}

func trueArea(twice wide, factor float64) quantity.Area {
	const twiceUnit = 2e10 // square nanometres in one unit of Area, doubled
	return quantity.Area(math.Round(twice.float() / twiceUnit * factor))
}

// trueLength is the length of the line from a to b that rises by that many
// nanometres.
func trueLength(a, b Point, rise float64) quantity.Length {
	return quantity.Length(math.Round(math.Hypot(run(a, b), rise)))
}

// run is the plan distance in nanometres.
func run(a, b Point) float64 { return math.Hypot(float64(b.X-a.X), float64(b.Y-a.Y)) }

// downhill turns a compass bearing into a vector, exact at the quarters.
func downhill(bearingDeg float64) (x, y float64) {
	switch bearingDeg {
	case 0:
		return 0, 1
	case 90:
		return 1, 0
	case 180:
		return 0, -1
	case 270:
		return -1, 0
	}
	s, c := math.Sincos(bearingDeg * math.Pi / 180)
	return s, c
}
