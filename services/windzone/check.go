package windzone

import (
	"fmt"
	"slices"

	"bydark/events"
)

// CodeBad is the code of the refusals of this package.
const CodeBad = "bad-wind-zones"

// Check says what is wrong with a choice; nil when nothing is. Where is a JSON pointer
// from the choice on.
func (c Choice) Check() *events.Refusal {
	switch {
	case c.Table != nil && c.Edition != "":
		return bad("/edition", c.Edition, "an edition or a table, not both")
	case c.Table != nil:
		return c.Table.check("/table")
	}
	if _, ok := Edition(c.Edition); !ok {
		return bad("/edition", c.Edition, "one of "+listed(Editions())+", or a table of your own")
	}
	return nil
}

func bad(where, was, want string) *events.Refusal {
	return &events.Refusal{Code: CodeBad, Where: where, Was: was, Want: want}
}

// mostRoofs, mostZones and mostPoints bound a table; the largest edition has five roofs of six zones
// of two points.
const (
	mostRoofs  = 40
	mostZones  = 20
	mostPoints = 12
)

func (t Table) check(where string) *events.Refusal {
	switch {
	case t.Edition == "":
		return bad(where+"/edition", "", "the standard and edition that the table is of, such as ASCE 7-22")
	case t.Source == "":
		return bad(where+"/source", "", "where the figures were read")
	case t.Basis != "" && t.Basis != Entered:
		return bad(where+"/basis", t.Basis, Entered+", or nothing")
	case len(t.Roofs) == 0 || len(t.Roofs) > mostRoofs:
		return bad(where+"/roofs", fmt.Sprint(len(t.Roofs)), fmt.Sprintf("1 to %d roofs, by shape and slope", mostRoofs))
	}
	for i, r := range t.Roofs {
		at := fmt.Sprintf("%s/roofs/%d", where, i)
		if wrong := r.check(at); wrong != nil {
			return wrong
		}
		for _, before := range t.Roofs[:i] {
			if r.overlaps(before) {
				return bad(at+"/above_deg", fmt.Sprint(r.AboveDeg), "a slope that no earlier roof of the same shape has")
			}
		}
	}
	return nil
}

func (r Roof) overlaps(other Roof) bool {
	return (r.Shape == other.Shape || r.Shape == Any || other.Shape == Any) && r.AboveDeg < other.ToDeg && other.AboveDeg < r.ToDeg
}

func (r Roof) check(where string) *events.Refusal {
	switch {
	case !slices.Contains([]string{Gable, Hip, Any}, r.Shape):
		return bad(where+"/shape", r.Shape, "gable, hip or any")
	case !(r.AboveDeg >= 0 && r.AboveDeg < 90):
		return bad(where+"/above_deg", fmt.Sprint(r.AboveDeg), "a slope of 0 to 90 degrees")
	case !(r.ToDeg > r.AboveDeg && r.ToDeg <= 90):
		return bad(where+"/to_deg", fmt.Sprint(r.ToDeg), "a slope above above_deg, up to 90 degrees")
	case r.Figure == "":
		return bad(where+"/figure", "", "the figure that the row is read from")
	case len(r.Zones) == 0 || len(r.Zones) > mostZones:
		return bad(where+"/zones", fmt.Sprint(len(r.Zones)), fmt.Sprintf("1 to %d zones", mostZones))
	}
	field := false
	for i, z := range r.Zones {
		at := fmt.Sprintf("%s/zones/%d", where, i)
		field = field || z.Zone == "1"
		if z.Zone == "" || len(z.Zone) > 8 || slices.ContainsFunc(r.Zones[:i], func(before Zone) bool { return before.Zone == z.Zone }) {
			return bad(at+"/zone", z.Zone, "a zone's short name, each once")
		}
		if wrong := checkPoints(at+"/up", z.Up, -1); wrong != nil {
			return wrong
		}
		if wrong := checkPoints(at+"/down", z.Down, 1); wrong != nil {
			return wrong
		}
	}
	if !field {
		return bad(where+"/zones", "no zone 1", "zone 1, the field of the roof, among the zones")
	}
	return nil
}

// checkPoints holds coefficients to their sign (lift below zero), to size, and to growing
// areas over which they shrink.
func checkPoints(where string, points []Point, sign float64) *events.Refusal {
	if len(points) == 0 || len(points) > mostPoints {
		return bad(where, fmt.Sprint(len(points)), fmt.Sprintf("1 to %d points of area and coefficient", mostPoints))
	}
	for i, p := range points {
		at := fmt.Sprintf("%s/%d", where, i)
		size := p.GCp * sign
		switch {
		case !(p.AreaFt2 > 0 && p.AreaFt2 <= 10_000):
			return bad(at+"/area_sqft", fmt.Sprint(p.AreaFt2), "an effective wind area above 0, up to 10000 square feet")
		case !(size >= 0 && size <= 10):
			return bad(at+"/gcp", fmt.Sprint(p.GCp), fmt.Sprintf("a coefficient from 0 to %g: lift is below zero, pressure above", 10*sign))
		case i > 0 && p.AreaFt2 <= points[i-1].AreaFt2:
			return bad(at+"/area_sqft", fmt.Sprint(p.AreaFt2), "an area above the one before")
		case i > 0 && size > points[i-1].GCp*sign:
			return bad(at+"/gcp", fmt.Sprint(p.GCp), "a coefficient not stronger than that of the smaller area before it")
		}
	}
	return nil
}
