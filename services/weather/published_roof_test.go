package weather_test

import (
	"math"
	"testing"

	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/squareness"
	"bydark/services/takeoff"
)

// roofRows are slopes, squareness, the code's rules for roof coverings, and felt.
var roofRows = map[string]verdict{
	"slope_len_":            check(func(t *testing.T, r row) any { return r.in(t, "run_in") * roof.SlopeFactor(pitch(t, r)) }),
	"army_rafter_13_12":     check(func(t *testing.T, r row) any { return r.in(t, "run_ft") * roof.SlopeFactor(pitch(t, r)) }),
	"hip_valley_factor_":    check(func(t *testing.T, r row) any { return roof.HipFactor(pitch(t, r)) }),
	"hip_run_per_ft":        check(func(t *testing.T, r row) any { return r.in(t, "run_in") * roof.HipFactor(quantity.Pitch{}) }),
	"slope_angle_":          check(func(t *testing.T, r row) any { return math.Acos(1/roof.SlopeFactor(pitch(t, r))) * 180 / math.Pi }),
	"area_hip_equals_gable": check(hipAndGable),
	"hip_panel_step":        check(func(t *testing.T, r row) any { return r.in(t, "panel_in") * roof.SlopeFactor(pitch(t, r)) }),

	"t_6_8_10":        check(func(t *testing.T, r row) any { return squareness.Diagonal(r.in(t, "a"), r.in(t, "b")) }),
	"diag_":           check(func(t *testing.T, r row) any { return squareness.Diagonal(r.in(t, "a"), r.in(t, "b")) }),
	"equal_diagonals": check(equalDiagonals),
	"skew_from_diags": check(func(t *testing.T, r row) any {
		return skew(t, r.in(t, "a_in"), r.in(t, "b_in"), r.in(t, "d1_in"), r.in(t, "d2_in"))
	}),
	"taper_over_slope": check(func(t *testing.T, r row) any { return squareness.Taper(r.in(t, "b_in"), skewOfDifference(t, r)) }),
	"taper_over_eave":  check(func(t *testing.T, r row) any { return squareness.Taper(r.in(t, "a_in"), skewOfDifference(t, r)) }),
	"taper_per_panel": check(func(t *testing.T, r row) any {
		return squareness.Taper(r.in(t, "panel_in"), r.in(t, "skew")*180/math.Pi)
	}),
	"parallelogram_law": check(parallelogramLaw),
	"leg_error": check(func(t *testing.T, r row) any {
		return corner(t, r.in(t, "a_in"), r.in(t, "b_in"), r.in(t, "c_in"))
	}),
	"leg_error_20ft": check(func(t *testing.T, r row) any { return squareness.Taper(r.in(t, "L_in"), r.in(t, "err_deg")) }),

	"min_slope_lap_sealant":    check(func(t *testing.T, _ row) any { return shippedAs(t, "raised-clip-vented").LeastPitch.Slope() * 12 }),
	"min_slope_metal_shingles": none("no assembly is of metal shingles"),
	"panel_definition_area":    none("it says which sheets a code calls panels; nothing is reckoned with it"),
	"min_thk_aluminium":        none("no shipped assembly is of aluminium, and for a user's own the adopted code decides"),
	"min_wt_copper":            feeds("cu_16oz"),
	"fastener_steel":           none("which metal a fastener may be of is not held; the tested system says it"),
	"fastener_copper":          none("which metal a fastener may be of is not held; the tested system says it"),
	"fastener_stainless_any":   none("which metal a fastener may be of is not held; the tested system says it"),
	"ul_attach_hi_wind_field":  none("the row read is for shingles and tile at 140 mph; that for metal panels was not read"),
	"ul_attach_hi_wind_laps":   none("the row read is for shingles and tile at 140 mph; that for metal panels was not read"),
	"ul_double_below":          none("a rule for shingles; for metal panels the maker's decides"),
	"ul_endlap":                check(feltEndLap),
	"ul_endlap_offset":         none("where the end laps of neighbouring courses lie is not held"),
	"ul_hip_ridge_lap":         none("felt is counted by the plane; its laps over hips and ridges are not held"),
	"ice_inside_wall":          check(func(*testing.T, row) any { return takeoff.IceReach(1, 0, 0).Inches() }),
	"ice_len_": check(func(t *testing.T, r row) any {
		inside := takeoff.IceReach(1, 0, 0).Inches()
		if inside != r.in(t, "inside_in") {
			t.Errorf("it reaches %g in inside the wall", inside)
		}
		return takeoff.IceReach(roof.SlopeFactor(pitch(t, r)), inches(t, r, "overhang_in"), inches(t, r, "wall_in")).Inches()
	}),
	"valley_open_metal_w":  none("a rule for open valleys of shingles; there is none for metal panels"),
	"valley_metal_shingle": none("a rule for metal shingles, and from memory"),
	"valley_rib":           none("a rule for metal shingles, and from memory"),
	"flashing_min_thk": check(func(t *testing.T, _ row) any {
		least := math.Inf(1)
		for _, name := range assembly.Shipped() {
			least = math.Min(least, shippedAs(t, name).Panel.Thickness.Inches()) // flashings are of the panels' metal
		}
		return atLeast(least)
	}),

	"square":         check(func(*testing.T, row) any { return quantity.Square.SquareFeet() }),
	"roll_gross":     check(func(t *testing.T, r row) any { return feltRoll(t, r).gross }),
	"roll_net_2in":   check(func(t *testing.T, r row) any { return feltRoll(t, r).net }),
	"felt30_weight":  none("rolls are counted, not weighed"),
	"rolls_round_up": check(feltRolls),
	"turn_up":        none("how far felt is turned up at walls is not held"),
	"nail_zone":      none("where in its width felt is nailed is not held"),
}

func pitch(t *testing.T, r row) quantity.Pitch {
	t.Helper()
	key := "rise_in"
	if r.name == "army_rafter_13_12" {
		key = "rise_per_ft_in"
	}
	return quantity.PitchOf(int64(r.in(t, key)), 12)
}

func inches(t *testing.T, r row, key string) quantity.Length {
	t.Helper()
	return quantity.Length(math.Round(r.in(t, key) * float64(quantity.Inch)))
}

func shippedAs(t *testing.T, name string) *assembly.Assembly {
	t.Helper()
	doc, err := assembly.Document(name)
	if err != nil {
		t.Fatal(err)
	}
	a, err := assembly.Read(doc)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func readRoof(t *testing.T, doc string) *roof.Roof {
	t.Helper()
	r, err := roof.Read([]byte(doc))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// hipAndGable reckons a hip and a gable roof over one plan: both have the area of the plan
// times the slope factor.
func hipAndGable(t *testing.T, r row) any {
	if r.in(t, "plan_l_ft") != 40 || r.in(t, "plan_w_ft") != 24 || r.in(t, "rise_in") != 6 {
		t.Fatal("the roofs below are for 40 by 24 ft at 6/12")
	}
	gable := readRoof(t, `{"name":"gable","planes":[
		{"mark":"S","outline":[["0'","0'"],["40'","0'"],["40'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180},
		{"mark":"N","outline":[["0'","12'"],["40'","12'"],["40'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0}]}`)
	hip := readRoof(t, `{"name":"hip","planes":[
		{"mark":"S","outline":[["0'","0'"],["40'","0'"],["28'","12'"],["12'","12'"]],"pitch":"6/12","falls_deg":180},
		{"mark":"N","outline":[["12'","12'"],["28'","12'"],["40'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0},
		{"mark":"W","outline":[["0'","0'"],["12'","12'"],["0'","24'"]],"pitch":"6/12","falls_deg":270},
		{"mark":"E","outline":[["40'","0'"],["40'","24'"],["28'","12'"]],"pitch":"6/12","falls_deg":90}]}`)
	if g, h := gable.Area().SquareFeet(), hip.Area().SquareFeet(); math.Abs(g-h) > 1e-3 {
		t.Errorf("gable %g, hip %g sqft", g, h)
	}
	return hip.Area().SquareFeet()
}

func skew(t *testing.T, a, b, d1, d2 float64) float64 {
	t.Helper()
	v, err := squareness.SkewDeg(a, b, d1, d2)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func corner(t *testing.T, a, b, diagonal float64) float64 {
	t.Helper()
	v, err := squareness.CornerDeg(a, b, diagonal)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// skewOfDifference is the skew of an a by b whose diagonals differ by diff_in.
func skewOfDifference(t *testing.T, r row) float64 {
	a, b, half := r.in(t, "a_in"), r.in(t, "b_in"), r.in(t, "diff_in")/2
	d := squareness.Diagonal(a, b)
	return skew(t, a, b, d+half, d-half)
}

func equalDiagonals(t *testing.T, r row) any {
	if skew(t, 3, 4, r.in(t, "d1"), r.in(t, "d2")) != 0 || skew(t, 3, 4, 5, 4.9) == 0 {
		return "not square"
	}
	return "square"
}

// parallelogramLaw takes a parallelogram that is not square: its diagonals' squares still add
// up to those of the sides, and we find its skew again.
func parallelogramLaw(t *testing.T, r row) any {
	a, b := r.in(t, "a"), r.in(t, "b")
	d := squareness.Diagonal(a, b)
	long := d + 0.25
	short := math.Sqrt(2*d*d - long*long)
	deg := skew(t, a, b, long, short)
	if back := math.Sqrt(a*a + b*b + 2*a*b*math.Sin(deg*math.Pi/180)); math.Abs(back-long) > 1e-9 {
		t.Errorf("a skew of %g degrees has a diagonal of %g, not %g", deg, back, long)
	}
	return long*long + short*short
}

// feltEndLap is the least end lap of felt in the shipped assemblies.
func feltEndLap(t *testing.T, _ row) any {
	least := math.Inf(1)
	for _, name := range assembly.Shipped() {
		for _, s := range shippedAs(t, name).Plane {
			for _, u := range s.Uses {
				if u.Material == "felt" {
					least = math.Min(least, u.EndLap.Inches())
				}
			}
		}
	}
	return least
}

// felt is what a roll of the flat-clip assembly's felt covers, in square feet.
type felt struct{ gross, net float64 }

func feltRoll(t *testing.T, r row) felt {
	t.Helper()
	a := shippedAs(t, "flat-clip")
	m, ok := a.Material("felt")
	if !ok || m.Width != inches(t, r, "w_in") {
		t.Fatalf("felt is %+v", m)
	}
	gross := m.Pack.Holds.Area().SquareFeet()
	if long := gross / m.Width.Feet(); math.Abs(long-r.in(t, "l_ft")) > 1e-9 {
		t.Errorf("a roll is %g ft long", long)
	}
	for _, s := range a.Plane {
		for _, u := range s.Uses {
			if u.Material == "felt" {
				return felt{gross, gross * float64(m.Width-u.SideLap) / float64(m.Width)}
			}
		}
	}
	t.Fatal("no step lays felt")
	return felt{}
}

// feltRolls takes off a plane of the row's area at 12/12, as high as 15 courses of 36 in lapped
// by 2 in, and counts its rolls.
func feltRolls(t *testing.T, r row) any {
	const slopeFt = (15*34.0 + 2) / 12
	feet := func(v float64) string {
		return quantity.Length(math.Round(v * float64(quantity.Foot))).Metric()
	}
	wide, run := feet(r.in(t, "A_ft2")/slopeFt), feet(slopeFt/math.Sqrt2)
	plane := readRoof(t, `{"name":"shed","planes":[{"mark":"A","pitch":"12/12","falls_deg":180,"outline":[["0 mm","0 mm"],["`+
		wide+`","0 mm"],["`+wide+`","`+run+`"],["0 mm","`+run+`"]]}]}`)
	if got := plane.Area().SquareFeet(); math.Abs(got-r.in(t, "A_ft2")) > 1 {
		t.Fatalf("the plane has %g sqft", got)
	}
	e, err := takeoff.Of(plane, shippedAs(t, "flat-clip"))
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range e.Lines {
		if l.Material == "felt" {
			t.Log(l.Basis)
			return float64(l.Packs)
		}
	}
	t.Fatal("no felt is taken off")
	return nil
}
