package calc

import (
	"math"

	"bydark/services/burn"
	"bydark/services/roof"
	"bydark/services/squareness"
	"bydark/services/weather"
)

// formulas are all that calc answers. Widest limits are there to catch slips of the
// finger; the formula's own limits stand in its package.
var formulas = map[string]formula{
	"slope-factor": {must: []string{"pitch"}, answer: func(in *inputs) Answer {
		return Answer{Value: roof.SlopeFactor(in.pitch("pitch")), Unit: "1", Formula: "sqrt(rise² + run²) / run",
			Source: "geometry; framing square rafter table, length of common rafters per foot of run / 12"}
	}},
	"hip-factor": {must: []string{"pitch"}, answer: func(in *inputs) Answer {
		return Answer{Value: roof.HipFactor(in.pitch("pitch")), Unit: "1", Formula: "sqrt(rise² + 2 run²) / run, times the common run",
			Source: "geometry; framing square rafter table, length of hip or valley per foot of run / 12; equal pitches at a square corner"}
	}},
	"thermal": {must: []string{"metal", "length", "dt_c"}, answer: func(in *inputs) Answer {
		m, err := weather.MetalNamed(in.args["metal"])
		in.fail(err)
		return Answer{Value: m.Movement(in.mm("length"), in.number("dt_c", -300, 300, "a change in °C")), Unit: "mm",
			Formula: "ΔL = L · α · ΔT", Source: m.Source, More: map[string]float64{"alpha_per_c": m.ExpansionPerC}}
	}},
	"velocity-pressure": {must: []string{"v_mph", "kz"}, may: []string{"kzt", "kd", "ke"}, answer: func(in *inputs) Answer {
		factor := func(key string) float64 { return in.optional(key, 1, 0, 10, "a factor") }
		q := weather.VelocityPressurePSF(in.number("v_mph", 0, 400, "a wind in mph"), in.number("kz", 0, 10, "a factor"), factor("kzt"), factor("kd"), factor("ke"))
		return Answer{Value: q, Unit: "psf", Formula: "q = 0.00256 · Kz · Kzt · Kd · Ke · V²; factors not given are 1",
			Source: "ASCE 7-16 equation 26.10-1; in 7-22 Kd belongs to the pressure, give 1", More: map[string]float64{"pa": q * weather.PaPerPSF}}
	}},
	"kz": {must: []string{"exposure", "z_ft"}, may: []string{"edition"}, answer: func(in *inputs) Answer {
		e := weather.ASCE716
		switch in.args["edition"] {
		case "", "7-05", "7-10", "7-16":
		case "7-22":
			e = weather.ASCE722
		default:
			in.refuse("edition", "7-05, 7-10, 7-16 or 7-22")
		}
		v, err := e.Kz(in.args["exposure"], in.number("z_ft", 0, 5000, "a height in feet"))
		in.fail(err)
		return Answer{Value: v, Unit: "1", Formula: "Kz = K · (z / zg)^(2/α), z from 15 ft to zg", Source: e.Source}
	}},
	"driving-rain": {must: []string{"rain_mm_h", "wind_ms", "angle_deg"}, answer: func(in *inputs) Answer {
		v := weather.DrivingRainMM(in.number("rain_mm_h", 0, 500, "rain in mm/h"), in.number("wind_ms", 0, 120, "wind in m/s"), in.number("angle_deg", -720, 720, "degrees between wind and the surface's normal"))
		return Answer{Value: v, Unit: "L/m2", Formula: "I = 2/9 · v · r^(8/9) · cos(D − θ) in an hour, zero from behind",
			Source: "ISO 15927-3:2009 clause 3; not for thunder rain, snow or hail"}
	}},
	"runoff": {must: []string{"area_m2", "rain_mm_h"}, may: []string{"c"}, answer: func(in *inputs) Answer {
		q := weather.RunoffLS(in.number("area_m2", 0, 1e6, "a plan area in m²"), in.number("rain_mm_h", 0, 2000, "rain in mm/h"), in.optional("c", 1, 0, 1, "the share that runs off"))
		return Answer{Value: q, Unit: "L/s", Formula: "Q = C · i · A / 3600; C not given is 1", Source: "rational method (ASCE Manual 77); plan area, not sloped",
			More: map[string]float64{"gpm": q * 60 / weather.LitresPerGallon}}
	}},
	"dew-point": {must: []string{"temp_c", "rh_pct"}, answer: func(in *inputs) Answer {
		v := weather.DewPointC(in.number("temp_c", -45, 60, "air in °C"), in.number("rh_pct", 0.1, 100, "relative humidity in %"))
		return Answer{Value: v, Unit: "degC", Formula: "x = ln(RH/100) + 17.62 t / (243.12 + t); t_d = 243.12 x / (17.62 − x)",
			Source: "Magnus formula, WMO No. 8 annex 4.B, over water, −45 to 60 °C", More: map[string]float64{"surface_at_least_c": v + weather.CoatingMarginC}}
	}},
	"square": {must: []string{"a", "b"}, may: []string{"diagonal"}, answer: square},
	"sheet-mass": {must: []string{"metal", "thickness", "width", "length"}, answer: func(in *inputs) Answer {
		m, err := weather.MetalNamed(in.args["metal"])
		in.fail(err)
		return Answer{Value: m.MassKG(in.mm("thickness")/1000, in.mm("width")/1000, in.mm("length")/1000), Unit: "kg",
			Formula: "m = ρ · t · b · l", Source: m.Source, More: map[string]float64{"density_kg_m3": m.DensityKGM3}}
	}},
	"reorder": {must: []string{"rate", "lead_days"}, may: []string{"safety"}, answer: func(in *inputs) Answer {
		v := burn.ReorderPoint(in.number("rate", 0, 1e9, "use a day"), in.number("lead_days", 0, 3650, "days"), in.optional("safety", 0, 0, 1e12, "a safety stock"))
		return Answer{Value: v, Unit: "in the rate's unit", Formula: "rate · lead + safety", Source: "Heizer and Render, Operations Management, chapter 12"}
	}},
	"earned": {must: []string{"bac", "ev", "ac"}, answer: func(in *inputs) Answer {
		e := burn.Earned{BAC: in.number("bac", 0, 1e12, "the budget"), EV: in.number("ev", 0, 1e12, "what the work done should have used"), AC: in.number("ac", 0, 1e12, "what it used")}
		if in.err != nil {
			return Answer{}
		}
		f, err := e.Forecast()
		in.fail(err)
		more := map[string]float64{"cpi": f.CPI, "etc": f.ETC, "vac": f.VAC}
		if !math.IsInf(f.TCPI, 0) {
			more["tcpi"] = f.TCPI
		}
		return Answer{Value: f.EAC, Unit: "in the budget's unit", Formula: "EAC = BAC / CPI, CPI = EV / AC",
			Source: "Defense Acquisition University earned value card; of use from about 15 to 85 % of the work", More: more}
	}},
}

// square gives the corner between two legs from the diagonal across it; without a
// diagonal, what it should measure.
func square(in *inputs) Answer {
	a, b := in.leg("a"), in.leg("b")
	right := squareness.Diagonal(a, b)
	const source = "geometry: Pythagoras and the law of cosines; the 3-4-5 of Miller, The Carpenters' Guide"
	if !in.has("diagonal") {
		return Answer{Value: right, Unit: in.unit(), Formula: "diagonal = sqrt(a² + b²)", Source: source}
	}
	d := in.leg("diagonal")
	if in.err != nil {
		return Answer{}
	}
	corner, err := squareness.CornerDeg(a, b, d)
	in.fail(err)
	return Answer{Value: corner, Unit: "deg", Formula: "cos γ = (a² + b² − d²) / (2 a b); 90 is square", Source: source,
		More: map[string]float64{"off_deg": corner - 90, "diagonal_of_square": right, "diagonal_off": d - right}}
}

// leg is a length in millimetres, or a plain number when all are plain: then all are in
// one unit of the asker's choosing.
func (in *inputs) leg(key string) float64 {
	if in.unit() == "mm" {
		return in.mm(key)
	}
	return in.number(key, 0, 1e9, "a length")
}

// unit tells what the legs are in: millimetres as soon as one of them has a unit.
func (in *inputs) unit() string {
	for _, key := range []string{"a", "b", "diagonal"} {
		if plain := (&inputs{args: in.args}); in.has(key) {
			if plain.number(key, 0, 1e9, ""); plain.err != nil {
				return "mm"
			}
		}
	}
	return "in the legs' unit"
}
