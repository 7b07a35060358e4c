package roof

import (
	"fmt"
	"math"

	"bydark/events/quantity"
)

// How faces of a city model are sorted out.
const (
	// notFlat is how far a corner of a face may lie off the face's plane: two
	// centimetres of noise each way.
	notFlat = 20 * quantity.Millimetre
	// flattest is the least slope, half a degree, at which a face has a fall at all.
	flattest = 0.00872686779
	// tiniest is the least plan area, in square metres, of a face that is kept.
	tiniest = 0.02
)

// facet is a face of a city model with its plane: z = height at origin of plan plus
// gx*x + gy*y, in metres, from Newell's normal, the sum of the cross products round
// its rings, and the mean of its outline.
type facet struct {
	face    cityFace
	rings   [][]Point
	heights [][]float64 // nanometres, of the rings' points as in the file
	normal  [3]float64  // of length the true area, in square metres
	middle  [3]float64
	left    string // why it is left out: "flat", "steep", "tiny"; empty if it is kept
}

func newFacet(face cityFace, origin spot) facet {
	f := facet{face: face}
	for _, ring := range face.rings {
		var points []Point
		var heights []float64
		for i, s := range ring {
			p := Point{quantity.Length(s.x - origin.x), quantity.Length(s.y - origin.y)}
			next := ring[(i+1)%len(ring)]
			f.addNormal(s, next, origin)
			points, heights = append(points, p), append(heights, float64(s.z-origin.z))
		}
		f.rings, f.heights = append(f.rings, points), append(f.heights, heights)
	}
	for i, p := range f.rings[0] {
		n := float64(len(f.rings[0]))
		f.middle[0] += p.X.Metres() / n
		f.middle[1] += p.Y.Metres() / n
		f.middle[2] += f.heights[0][i] / 1e9 / n
	}
	if f.normal[2] < 0 {
		f.normal = [3]float64{-f.normal[0], -f.normal[1], -f.normal[2]}
	}
	switch across := math.Hypot(f.normal[0], f.normal[1]); {
	case across > f.normal[2]*(Steepest.Slope()+1e-3):
		f.left = "steep"
	case across < f.normal[2]*flattest:
		f.left = "flat"
	case f.normal[2] < tiniest:
		f.left = "tiny"
	}
	return f
}

func (f *facet) addNormal(a, b, origin spot) {
	ax, ay, az := float64(a.x-origin.x)/1e9, float64(a.y-origin.y)/1e9, float64(a.z-origin.z)/1e9
	bx, by, bz := float64(b.x-origin.x)/1e9, float64(b.y-origin.y)/1e9, float64(b.z-origin.z)/1e9
	f.normal[0] += (ay*bz - az*by) / 2
	f.normal[1] += (az*bx - ax*bz) / 2
	f.normal[2] += (ax*by - ay*bx) / 2
}

func (f *facet) area() float64 { return math.Hypot(math.Hypot(f.normal[0], f.normal[1]), f.normal[2]) }

// above is how far, in metres square to the plane, a place lies over it.
func (f *facet) above(p Point, heightNM float64) float64 {
	return ((p.X.Metres()-f.middle[0])*f.normal[0] + (p.Y.Metres()-f.middle[1])*f.normal[1] + (heightNM/1e9-f.middle[2])*f.normal[2]) / f.area()
}

// height is the plane's height in nanometres over a place in plan.
func (f *facet) height(p Point) float64 {
	return 1e9 * (f.middle[2] - ((p.X.Metres()-f.middle[0])*f.normal[0]+(p.Y.Metres()-f.middle[1])*f.normal[1])/f.normal[2])
}

// offPlane is the furthest that one of g's corners lies from f's plane, in metres.
func (f *facet) offPlane(g *facet) float64 {
	worst := 0.0
	for r, ring := range g.rings {
		for i, p := range ring {
			worst = math.Max(worst, math.Abs(f.above(p, g.heights[r][i])))
		}
	}
	return worst
}

func (f *facet) name() string { return fmt.Sprintf("face %d of %s", f.face.index, clip(f.face.part)) }

// alike tells whether two facets are one plane: nearly parallel, and the corners of
// the smaller within a centimetre of the larger's plane; of a small facet the corners
// alone count, because noise turns its normal.
func alike(f, g *facet) bool {
	const (
		off   = 0.010 // metres
		angle = 0.0015
		small = 0.5 // square metres
	)
	if f.area() < g.area() {
		f, g = g, f
	}
	if f.offPlane(g) > off {
		return false
	}
	dot := f.normal[0]*g.normal[0] + f.normal[1]*g.normal[1] + f.normal[2]*g.normal[2]
	return g.area() < small || math.Acos(math.Min(1, dot/(f.area()*g.area()))) < angle
}
