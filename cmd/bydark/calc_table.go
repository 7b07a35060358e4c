package main

import (
	"fmt"
	"math"

	"bydark/events"
	"bydark/events/quantity"
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
	"wet-bulb":          {[]string{"dry_c", "wet_c"}, wetBulb},
	"moist-air":         {[]string{"temp_c", "rh_pct", "altitude_m"}, moistAir},
	"heat-index":        {[]string{"temp_f", "rh_pct"}, heatIndex},
	"storm":             {[]string{"half_hour_mm"}, storm},
	"gap":               {[]string{"metal", "length", "metal_c", "hottest_air_c"}, gap},
	"edge-strip":        {[]string{"least_width_ft", "height_ft"}, edgeStrip},
	"clip-spacing":      {[]string{"psf", "cover", "allowable_n"}, clipSpacing},
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
	rain, wind := g.number("rain_mm_h", 0, 2000, "the rain on the level in mm/h"), g.number("wind_ms", 0, 150, "the wind in m/s")
	angle := g.number("angle_deg", -360, 360, "the angle between wind and the surface's normal in degrees")
	mm, drops := weather.DrivingRainMM(rain, wind, angle), weather.DropRainMM(rain, wind, angle)
	return result{Value: mm, Unit: "l/m2", Formula: "I = 2/9 * v * r^(8/9) * cos(D - theta), for one hour, positive terms only",
		Source: "ISO 15927-3:2009 clause 3; for rain without much convection, not for snow or hail",
		Also:   map[string]float64{"by_drop_size": drops}}, nil
}

func runoff(g *given) (result, error) {
	q := weather.RunoffLS(g.number("area_m2", 0, 1e9, "the plan area in m2"), g.number("rain_mm_h", 0, 2000, "the rain in mm/h"),
		g.numberOr("c", weather.MetalRunoffC, 0, 1, "the share that runs off"))
	return result{Value: q, Unit: "l/s", Formula: "Q = C * i * A / 3600",
		Source: "rational method; ASCE Manual 77 gives roofs C of 0.75 to 0.95, metal 1 is common practice"}, nil
}

func dewPoint(g *given) (result, error) {
	dew := weather.DewPointC(g.number("temp_c", -45, 60, "the air's temperature in degrees C"),
		g.number("rh_pct", 0.01, 100, "the relative humidity in percent"))
	return result{Value: dew, Unit: "degC", Formula: "Magnus: e = 6.112 * exp(17.62 * t / (243.12 + t)), solved for t",
		Source: "WMO No. 8 (CIMO guide) annex 4.B, over water"}, nil
}

func wetBulb(g *given) (result, error) {
	dry, wet := g.number("dry_c", -45, 60, "the dry bulb in degrees C"), g.number("wet_c", -45, 60, "the wet bulb in degrees C")
	dew := weather.WetBulbDewPointC(dry, wet)
	if g.err == nil && math.IsNaN(dew) {
		g.fail("out-of-range", "wet_c", g.text["wet_c"], "a wet bulb that air of the dry bulb can have")
	}
	return result{Value: dew, Unit: "degC", Formula: "e = es(tw) - 6.53e-4 * (1 + 9.44e-4 * tw) * p * (t - tw), solved for the dew point",
		Source: "WMO No. 8 (CIMO guide) annex 4.B, ventilated bulbs at sea level pressure"}, nil
}

// moistAir answers with the water in the air, and what follows from it beside.
func moistAir(g *given) (result, error) {
	temp, rh := g.number("temp_c", -45, 60, "the air's temperature in degrees C"), g.number("rh_pct", 0.01, 100, "the relative humidity in percent")
	pressure := weather.StandardPressurePa(g.numberOr("altitude_m", 0, -500, 5000, "the altitude in metres"))
	ratio := weather.HumidityRatio(rh/100*weather.SaturationPa(temp), pressure)
	return result{Value: 1000 * ratio, Unit: "g/kg", Formula: "W = 0.621945 * e / (p - e), e = rh * es",
		Source: "ASHRAE Fundamentals 2017 chapter 1; pressure of the standard atmosphere at the altitude",
		Also: map[string]float64{"enthalpy_kj_kg": weather.EnthalpyJ(temp, ratio) / 1000, "density_kg_m3": weather.AirDensityKGM3(temp, ratio, pressure),
			"pressure_pa": pressure, "dew_point_c": weather.DewPointC(temp, rh)}}, nil
}

func heatIndex(g *given) (result, error) {
	f := weather.HeatIndexF(g.number("temp_f", 40, 140, "the air's temperature in degrees F"), g.number("rh_pct", 0, 100, "the relative humidity in percent"))
	return result{Value: f, Unit: "degF", Formula: "Rothfusz regression with the adjustments of its page; Steadman's simple form below 80",
		Source:  "US Weather Prediction Center, heat index equation; for shade and light wind",
		Caution: fmt.Sprintf("Full sun adds up to %d degrees F. It is told as a warning and permits nothing.", weather.SunAddsF)}, nil
}

func storm(g *given) (result, error) {
	rate := weather.QuarterHourMMH(g.number("half_hour_mm", 0, 500, "the rain of the worst half hour in mm"))
	return result{Value: rate, Unit: "mm/h", Formula: "i15 = 0.72 * d30 * 4",
		Source: "2015 National Standard Plumbing Code appendix A; up to 16 % above NOAA Atlas 14, whose own 15 minutes are better"}, nil
}

// gap is what to leave open today so that the hottest metal closes it.
func gap(g *given) (result, error) {
	metal, err := weather.MetalNamed(g.word("metal", "steel, stainless, aluminum, copper or zinc"))
	length := g.length("length").Millimetres()
	now := g.number("metal_c", -60, 120, "the metal's temperature now in degrees C")
	hottest := weather.BareSunC(g.number("hottest_air_c", -60, 60, "the hottest air to come in degrees C"))
	return result{Value: metal.GapLeft(length, now, hottest), Unit: "mm", Formula: "gap = L * alpha * (hottest metal - metal now), hottest metal = hottest air + 30 degC in full sun",
		Source:  metal.Source,
		Caution: "Dark or insulated sheet gets hotter than bare sheet: the maker's data decide."}, err
}

func edgeStrip(g *given) (result, error) {
	a := weather.EdgeStripFt(g.number("least_width_ft", 1, 10000, "the least plan width in feet"), g.number("height_ft", 1, 1000, "the mean roof height in feet"))
	return result{Value: a, Unit: "ft", Formula: "a = min(0.1 * width, 0.4 * height), not less than 0.04 * width or 3 ft",
		Source: "ASCE 7 chapter 30, notes to the figures; printed so in a 2005 handbook from ASCE 7-02", Caution: windCaution}, nil
}

func clipSpacing(g *given) (result, error) {
	pressure, cover := g.number("psf", 0.1, 1000, "the pull in pounds a square foot")*weather.PaPerPSF, g.length("cover").Metres()
	spacing := weather.ClipSpacingM(pressure, cover, g.number("allowable_n", 1, 100000, "what one clip of the tested system may take in newtons"))
	return result{Value: 1000 * spacing, Unit: "mm", Formula: "spacing = allowable / (pressure * cover)",
		Source: "tributary area; the allowable is the tested system's", Caution: windCaution}, nil
}

func square(g *given) (result, error) {
	s := g.sides("a", "b", "diagonal")
	if g.err != nil {
		return result{}, g.err
	}
	corner, err := squareness.CornerDeg(s[0], s[1], s[2])
	if r := events.RefusalIn(err); r != nil {
		g.inOwnUnits(r)
	}
	return result{Value: corner, Unit: "deg", Formula: "cos(corner) = (a^2 + b^2 - diagonal^2) / (2ab); 90 is square",
		Source: "law of cosines; 3-4-5 and 6-8-10: Miller, The Carpenters' Guide"}, err
}

// inOwnUnits tells what is wrong with three sides as they were given: they are reckoned in metres.
func (g *given) inOwnUnits(r *events.Refusal) {
	a, errA := quantity.ParseLength(g.text["a"])
	b, errB := quantity.ParseLength(g.text["b"])
	if errA != nil || errB != nil {
		return // plain numbers, which are told as they are
	}
	r.Was = g.text[r.Where]
	if r.Where == "diagonal" {
		r.Want = fmt.Sprintf("a diagonal between %s and %s, or the three make no triangle", (a - b).Abs(), a+b)
	}
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
