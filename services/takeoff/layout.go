package takeoff

import (
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// Layout is what the crew or the estimator chooses beyond roof and assembly. Its zero
// value leaves all to the rules.
type Layout struct {
	// Starts says where the panels of a plane start.
	Starts map[roof.PlaneMark]Start
	// LeastCover is the narrowest strip that is worth setting; zero: the assembly's.
	LeastCover quantity.Length
	// Overhang is how far the eave stands out from the wall's outer face, in plan, and
	// Wall how thick the exterior wall is. With an overhang, the ice barrier at the eaves
	// is reckoned to 24 in inside the wall; zero: in the assembly's courses.
	Overhang, Wall quantity.Length
	// Zones are where clips stand closer than the assembly says.
	Zones []Zone
	// EndReturn is what a trim that is folded round outside corners takes more there;
	// zero: as the assembly says.
	EndReturn quantity.Length
}

// Zone is a part of the roof where clips stand closer, as the wind design gives it.
type Zone struct {
	// Plane is the plane; empty, all planes.
	Plane roof.PlaneMark
	// Along is eave, ridge or rake: from there the zone reaches Depth, along the slope
	// from the plane's lowest or highest place, or along the eave from its sides.
	Along string
	Depth quantity.Length
	// Spacing is the most from clip to clip in the zone.
	Spacing quantity.Length
}

func (l *Layout) leastCover(a *assembly.Assembly) quantity.Length {
	if l.LeastCover > 0 {
		return l.LeastCover
	}
	return a.Panel.LeastCover
}

// check refuses what the layout cannot mean.
func (l *Layout) check(r *roof.Roof, a *assembly.Assembly) error {
	refuse := func(where, was, want string) error {
		return &events.Refusal{Code: "bad-layout", Where: where, Was: was, Want: want}
	}
	if a.Panel.Cover < quantity.Inch {
		return &events.Refusal{Code: "zero-width-strips", Where: firstPoint(&r.Planes[0]),
			Was: a.Panel.Cover.String(), Want: "a panel that covers an inch or more"}
	}
	for mark := range l.Starts {
		if _, ok := r.Plane(mark); !ok {
			return refuse("starts", string(mark), "marks of planes of this roof")
		}
	}
	for _, v := range []quantity.Length{l.Overhang, l.Wall, l.EndReturn, l.LeastCover} {
		if v < 0 || v > 100*quantity.Foot {
			return refuse("layout", v.String(), "lengths from zero to 100'")
		}
	}
	for _, z := range l.Zones {
		if z.Spacing <= 0 || z.Depth <= 0 {
			return refuse("zones", z.Spacing.String()+" apart over "+z.Depth.String(), "a spacing and a depth above zero")
		}
		if !slices.Contains([]string{"eave", "ridge", "rake"}, z.Along) {
			return refuse("zones", z.Along, "eave, ridge or rake")
		}
	}
	return nil
}
