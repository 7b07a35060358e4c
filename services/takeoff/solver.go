package takeoff

import (
	"math"
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roof"
)

// mostCorners bounds the corners of a roof that is re-solved.
const mostCorners = 300

// solver finds the least move of a roof's corners, in plan, that keeps every border's
// direction and meets the measures. Unknowns are the corners' moves east and north and the
// planes' moves up, in nanometres; each condition is a row times the unknowns. The rows are made orthonormal
// one by one (Gram and Schmidt), so that a row that the ones before settle is seen, and
// the least move is the sum of the rows times their values.
type solver struct {
	roof    *roof.Roof
	corners []roof.Point
	rows    [][]float64
	values  []float64
	by      []map[events.Place]float64 // which measures a row's value comes from
	taken   []events.Place
}

func newSolver(r *roof.Roof) *solver {
	s := &solver{roof: r}
	for i := range r.Planes {
		p := &r.Planes[i]
		for _, q := range p.Outline {
			s.corner(q)
		}
		for k := range p.Openings {
			for _, q := range p.Openings[k].Outline {
				s.corner(q)
			}
		}
		if len(s.corners) > mostCorners {
			return nil
		}
	}
	for i := range r.Edges {
		s.corner(r.Edges[i].From)
		s.corner(r.Edges[i].To)
	}
	if len(s.corners) > mostCorners {
		return nil
	}
	s.keepHeights()
	for i := range r.Planes {
		p := &r.Planes[i]
		s.keepRing(p.Outline)
		for k := range p.Openings {
			s.keepRing(p.Openings[k].Outline)
		}
	}
	return s
}

// again is a solver with the same conditions, to which others can be added. Rows are never
// written to once they are in.
func (s *solver) again() *solver {
	next := *s
	next.rows, next.values = slices.Clip(s.rows), slices.Clip(s.values)
	next.by, next.taken = slices.Clip(s.by), slices.Clip(s.taken)
	return &next
}

// corner is the number of the corner at a point; points nearer than a hair are one.
func (s *solver) corner(q roof.Point) int {
	for i, c := range s.corners {
		if math.Hypot(float64(q.X-c.X), float64(q.Y-c.Y)) <= hair {
			return i
		}
	}
	s.corners = append(s.corners, q)
	return len(s.corners) - 1
}

// nearest is the number of the corner nearest to a point.
func (s *solver) nearest(q roof.Point) int {
	best := 0
	for i, c := range s.corners {
		if length(q, c) < length(q, s.corners[best]) {
			best = i
		}
	}
	return best
}

// keepHeights lets planes meet at one height, and those with an eave at their lowest place
// keep its height.
func (s *solver) keepHeights() {
	height := func(row []float64, plane int, at roof.Point, sign float64) {
		p := &s.roof.Planes[plane]
		dx, dy := p.Downhill()
		low := lowestOf(p)
		for _, end := range [2]struct {
			corner int
			sign   float64
		}{{s.corner(at), -sign}, {s.corner(low), sign}} {
			row[2*end.corner] += end.sign * p.Pitch.Slope() * dx
			row[2*end.corner+1] += end.sign * p.Pitch.Slope() * dy
		}
		row[2*len(s.corners)+plane] += sign
	}
	for i := range s.roof.Planes {
		if hasEave(s.roof, &s.roof.Planes[i]) {
			row := s.empty()
			row[2*len(s.corners)+i] = 1
			s.take(row, 0, "")
		}
	}
	number := func(m roof.PlaneMark) int {
		return slices.IndexFunc(s.roof.Planes, func(p roof.Plane) bool { return p.Mark == m })
	}
	for i := range s.roof.Edges {
		e := &s.roof.Edges[i]
		if len(e.Planes) != 2 {
			continue
		}
		for _, at := range [2]roof.Point{e.From, e.To} {
			row := s.empty()
			height(row, number(e.Planes[0]), at, 1)
			height(row, number(e.Planes[1]), at, -1)
			s.take(row, 0, "")
		}
	}
}

// lowestOf is a lowest corner of a plane.
func lowestOf(p *roof.Plane) roof.Point {
	dx, dy := p.Downhill()
	low := p.Outline[0]
	for _, q := range p.Outline[1:] {
		if float64(q.X-low.X)*dx+float64(q.Y-low.Y)*dy > hair {
			low = q
		}
	}
	return low
}

// hasEave tells whether the plane's lowest place lies on an eave of its own.
func hasEave(r *roof.Roof, p *roof.Plane) bool {
	low := lowestOf(p)
	for i := range r.Edges {
		e := &r.Edges[i]
		if e.Kind == roof.Eave && slices.Contains(e.Planes, p.Mark) && (length(e.From, low) <= hair || length(e.To, low) <= hair) {
			return true
		}
	}
	return false
}

// keepRing keeps the direction of each side of a ring, and the corners of others that lie
// on it there.
func (s *solver) keepRing(ring []roof.Point) {
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		from := s.corner(a)
		dx, dy := unit(a, b)
		for k, c := range s.corners {
			x, y := float64(c.X-a.X), float64(c.Y-a.Y)
			if k == from || math.Abs(x*dy-y*dx) > 3*hair || x*dx+y*dy <= 0 || x*dx+y*dy > length(a, b)+hair {
				continue
			}
			row := s.empty()
			row[2*k], row[2*k+1] = -dy, dx
			row[2*from], row[2*from+1] = dy, -dx
			s.take(row, 0, "")
		}
	}
}

func (s *solver) empty() []float64 {
	return make([]float64, 2*len(s.corners)+len(s.roof.Planes))
}

func length(a, b roof.Point) float64 { return math.Hypot(float64(b.X-a.X), float64(b.Y-a.Y)) }

func unit(a, b roof.Point) (x, y float64) {
	l := length(a, b)
	if l == 0 {
		return 0, 0
	}
	return float64(b.X-a.X) / l, float64(b.Y-a.Y) / l
}

// row is the condition of a measured length: how much longer its run is than drawn. The
// length on the roof is perRun times the run.
func (s *solver) row(m events.MeasureTaken) (row []float64, drawn quantity.Length, perRun float64, err error) {
	row = s.empty()
	between := func(from, to roof.Point, dx, dy float64) {
		i, k := s.corner(from), s.corner(to)
		row[2*k], row[2*k+1] = row[2*k]+dx, row[2*k+1]+dy
		row[2*i], row[2*i+1] = row[2*i]-dx, row[2*i+1]-dy
	}
	if m.Of == events.OfLength {
		e, ok := s.roof.Edge(roof.EdgeMark(m.Where))
		if !ok {
			return nil, 0, 0, unknownPlace(m, "the mark of an edge")
		}
		dx, dy := unit(e.From, e.To)
		between(e.From, e.To, dx, dy)
		return row, e.Length, float64(e.Length) / float64(e.Run), nil
	}
	p, ok := s.roof.Plane(roof.PlaneMark(m.Where))
	if !ok {
		return nil, 0, 0, unknownPlace(m, "the mark of a plane")
	}
	dx, dy := p.Downhill()
	up := func(a, b roof.Point) int {
		x, y := float64(a.X-b.X)*dx+float64(a.Y-b.Y)*dy, 0.0
		switch {
		case x > y+hair:
			return -1
		case x < y-hair:
			return 1
		}
		return 0
	}
	low, high := slices.MinFunc(p.Outline, up), slices.MaxFunc(p.Outline, up)
	between(low, high, -dx, -dy)
	run := -(float64(high.X-low.X)*dx + float64(high.Y-low.Y)*dy)
	return row, nanometres(run * p.SlopeFactor), p.SlopeFactor, nil
}

// take adds a condition. One that the others settle is not free: then it gives the value
// that follows from them, and the measures it follows from. What a drawing is out by
// makes a row that should hang on others look free by a thousandth or so.
func (s *solver) take(row []float64, value float64, measure events.Place) (implied float64, with []events.Place, free bool) {
	const slight = 2e-3
	whole := norm(row)
	by := map[events.Place]float64{}
	// Twice, because once leaves the rounding of long sums (Kahan: twice is enough).
	for range 2 {
		for i, q := range s.rows {
			d := dot(row, q)
			if d == 0 {
				continue
			}
			for k := range row {
				row[k] -= d * q[k]
			}
			implied += d * s.values[i]
			for p, w := range s.by[i] {
				by[p] += d * w
			}
		}
	}
	rest := norm(row)
	if whole == 0 || rest < slight*whole {
		for p, w := range by {
			if math.Abs(w) > slight {
				with = append(with, p)
			}
		}
		slices.Sort(with)
		return implied, with, false
	}
	for k := range row {
		row[k] /= rest
	}
	for p := range by {
		by[p] /= -rest
	}
	if measure != "" {
		by[measure] += 1 / rest
		s.taken = append(s.taken, measure)
	}
	s.rows, s.values, s.by = append(s.rows, row), append(s.values, (value-implied)/rest), append(s.by, by)
	return 0, nil, true
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

func norm(a []float64) float64 { return math.Sqrt(dot(a, a)) }

// least is the least move that meets all conditions.
func (s *solver) least() []float64 {
	move := s.empty()
	for i, q := range s.rows {
		for k := range move {
			move[k] += s.values[i] * q[k]
		}
	}
	return move
}

// shift moves a point of the roof as its corner moves.
func (s *solver) shift(move []float64, q roof.Point) roof.Point {
	i := s.nearest(q)
	return roof.Point{X: q.X + nanometres(move[2*i]), Y: q.Y + nanometres(move[2*i+1])}
}

// rise is how far a plane moves up.
func (s *solver) rise(move []float64, plane int) quantity.Length {
	return nanometres(move[2*len(s.corners)+plane])
}
