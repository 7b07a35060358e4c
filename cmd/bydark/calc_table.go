package main

import (
	"math"

	"bydark/services/burn"
	"bydark/services/roof"
	"bydark/services/squareness"
	"bydark/services/weather"
)

// formula is one row: the keys it knows, and how it answers.
type formula struct {
	keys []string
	of   func(g *given) (result, error)
}

// formulas is the table of what calc can be asked; what is reckoned stands in the
// packages, with its source.
var formulas = map[string]formula{
	"slope-factor":      {[]string{"pitch"}, slopeFactor},
	"hip-factor":        {[]string{"pitch"}, hipFactor},
	"thermal":           {[]string{"metal", "length", "dt_c"}, thermal},
	"velocity-pressure": {[]string{"v_mph", "kz", "kzt", "kd", "ke"}, velocityPressure},
	"kz":                {[]string{"exposure", "z_ft", "edition"}, exposureFactor},
	"driving-rain":      {[]string{"rain_mm_h", "wind_ms", "angle_deg"}, drivingRain},
	"runoff":            {[]string{"area_m2", "rain_mm_h", "c"}, runoff},
	"dew-point":         {[]string{"temp_c", "rh_pct"}, dewPoint},
	"square":            {[]string{"a", "b", "diagonal"}, square},
	"sheet-mass":        {[]string{"metal", "thickness", "width", "length"}, sheetMass},
	"reorder":           {[]string{"rate", "lead_days", "safety"}, reorder},
	"earned":            {[]string{"bac", "ev", "ac"}, earned},
}

const windCaution = "An aid only: the adopted edition of the code, the tested system's data and the licensed engineer decide."

func slopeFactor(g *given) (result, error) {
	return result{Value: roof.SlopeFactor(g.pitch()), Unit: "1", Formula: "sqrt(1 + (rise/run)^2)",
		Source: "framing square's rafter table, length of common rafters per foot of run, divided by 12"}, nil
}

func hipFactor(g *given) (result, error) {
	return result{Value: roof.HipFactor(g.pitch()), Unit: "1", Formula: "sqrt(2 + (rise/run)^2)",
		Source: "framing square's rafter table, length of hip or valley per foot of run, divided by 12"}, nil
}

func thermal(g *given) (result, error) {
	metal, err := weather.MetalNamed(g.word("metal", "steel, stainless, aluminum, copper or zinc"))
	length := g.length("length").Millimetres()
	change := g.number("dt_c", -300, 300, "the change of the metal's temperature in degrees C")
	return result{Value: metal.Movement(length, change), Unit: "mm", Formula: "dL = L * alpha * dT", Source: metal.Source}, err
}

func velocityPressure(g *given) (result, error) {
	q := weather.VelocityPressurePSF(g.number("v_mph", 0, 500, "the basic wind speed in mph"),
		g.number("kz", 0, 5, "the exposure coefficient"), g.numberOr("kzt", 1, 0, 10, "the topographic factor"),
		g.number("kd", 0, 1, "the directionality factor"), g.numberOr("ke", 1, 0, 1.5, "the ground elevation factor"))
	return result{Value: q, Unit: "psf", Formula: "q = 0.00256 * Kz * Kzt * Kd * Ke * V^2",
		Source: "ASCE 7-16 equation 26.10-1; with ASCE 7-22 give kd=1, it moved to the pressure equation", Caution: windCaution}, nil
}

func exposureFactor(g *given) (result, error) {
	edition := weather.ASCE716
	switch named := g.text["edition"]; named {
	case "", "7-16":
	case "7-22":
		edition = weather.ASCE722
	default:
		g.fail("unknown", "edition", named, "7-16 (also for 7-05 and 7-10) or 7-22")
	}
	kz, err := edition.Kz(g.word("exposure", "B, C or D"), g.number("z_ft", 0, 5000, "the height above ground in feet"))
	return result{Value: kz, Unit: "1", Formula: "Kz = K * (z / zg)^(2/alpha), z not below 15 ft", Source: edition.Source, Caution: windCaution}, err
}

func drivingRain(g *given) (result, error) {
	mm := weather.DrivingRainMM(g.number("rain_mm_h", 0, 2000, "the rain on the level in mm/h"),
		g.number("wind_ms", 0, 150, "the wind in m/s"), g.number("angle_deg", -360, 360, "the angle between wind and the surface's normal in degrees"))
	return result{Value: mm, Unit: "l/m2", Formula: "I = 2/9 * v * r^(8/9) * cos(D - theta), for one hour, positive terms only",
		Source: "ISO 15927-3:2009 clause 3; for rain without much convection, not for snow or hail"}, nil
}

func runoff(g *given) (result, error) {
	q := weather.RunoffLS(g.number("area_m2", 0, 1e9, "the plan area in m2"), g.number("rain_mm_h", 0, 2000, "the rain in mm/h"),
		g.numberOr("c", 1, 0, 1, "the share that runs off"))
	return result{Value: q, Unit: "l/s", Formula: "Q = C * i * A / 3600",
		Source: "rational method; ASCE Manual 77 gives roofs C of 0.75 to 0.95, metal 1 is common practice"}, nil
}

func dewPoint(g *given) (result, error) {
	dew := weather.DewPointC(g.number("temp_c", -45, 60, "the air's temperature in degrees C"),
		g.number("rh_pct", 0.01, 100, "the relative humidity in percent"))
	return result{Value: dew, Unit: "degC", Formula: "Magnus: e = 6.112 * exp(17.62 * t / (243.12 + t)), solved for t",
		Source: "WMO No. 8 (CIMO guide) annex 4.B, over water"}, nil
}

func square(g *given) (result, error) {
	s := g.sides("a", "b", "diagonal")
	if g.err != nil {
		return result{}, g.err
	}
	corner, err := squareness.CornerDeg(s[0], s[1], s[2])
	return result{Value: corner, Unit: "deg", Formula: "cos(corner) = (a^2 + b^2 - diagonal^2) / (2ab); 90 is square",
		Source: "law of cosines; 3-4-5 and 6-8-10: Miller, The Carpenters' Guide"}, err
}

func sheetMass(g *given) (result, error) {
	metal, err := weather.MetalNamed(g.word("metal", "steel, stainless, aluminum, copper or zinc"))
	kg := metal.MassKG(g.length("thickness").Metres(), g.length("width").Metres(), g.length("length").Metres())
	return result{Value: kg, Unit: "kg", Formula: "m = density * thickness * width * length", Source: metal.Source}, err
}

func reorder(g *given) (result, error) {
	unit := ""
	rate := g.amount("rate", "the use a day", &unit)
	days := g.number("lead_days", 0, 3650, "the days it takes to come")
	safety := 0.0
	if _, ok := g.text["safety"]; ok {
		safety = g.amount("safety", "the safety stock", &unit)
	}
	if unit == "" {
		unit = "each"
	}
	return result{Value: burn.ReorderPoint(rate, days, safety), Unit: unit, Formula: "rate * lead + safety",
		Source: "Heizer and Render, Operations Management, chapter 12"}, nil
}

// earned answers with the estimate at completion, and the other figures beside it.
func earned(g *given) (result, error) {
	unit := ""
	account := burn.Earned{BAC: g.amount("bac", "the budget at completion", &unit),
		EV: g.amount("ev", "the use that the work done should have taken", &unit), AC: g.amount("ac", "the use so far", &unit)}
	if g.err != nil {
		return result{}, g.err
	}
	if unit == "" {
		unit = "each"
	}
	f, err := account.Forecast()
	also := map[string]float64{"cpi": f.CPI, "etc": f.ETC, "vac": f.VAC}
	if !math.IsInf(f.TCPI, 0) { // no ratio saves a budget that is gone
		also["tcpi"] = f.TCPI
	}
	return result{Value: f.EAC, Unit: unit, Formula: "EAC = BAC / CPI, CPI = EV / AC", Also: also,
		Source: "Defense Acquisition University, earned value management gold card; holds between about 15 and 85 % of the work"}, err
}
