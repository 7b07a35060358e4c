package weather_test

import (
	"math"
	"testing"

	"bydark/services/weather"
)

// metalRows are thermal movement and the weight of sheet.
var metalRows = map[string]verdict{
	"alpha_al_C": check(perC("aluminum")), "alpha_al1100_F": check(perF("aluminum")), "alpha_cu_C": check(perC("copper")),
	"alpha_zn_C": check(perC("zinc")), "alpha_ss304_F": check(perF("stainless")),
	"alpha_zn_F_old": none("rolled zinc of 1920; roofs are of titanium zinc to EN 988, which moves less: alpha_zn_C"),
	"nrca_40ft": check(func(t *testing.T, r row) any {
		m := weather.Metal{ExpansionPerC: r.in(t, "alpha_F") * 9 / 5}
		return m.Movement(r.in(t, "L_ft")*12, r.in(t, "dT_F")*5/9)
	}),
	"nz_30m": check(func(t *testing.T, r row) any {
		return metal(t, "steel").Movement(r.in(t, "L_m")*1000, r.in(t, "dT_C"))
	}),
	"golden_gate": check(func(t *testing.T, r row) any { return metal(t, "steel").Movement(r.in(t, "L_m"), r.in(t, "dT_C")) }),
	"asme_100ft": check(func(t *testing.T, r row) any {
		return metal(t, "steel").Movement(r.in(t, "L_ft")*12, (r.in(t, "T2_F")-r.in(t, "T1_F"))*5/9)
	}),
	"ufc_design_dT":  feeds("trange_nz_insul_dark"),
	"tmax_unpainted": check(func(t *testing.T, r row) any { return celsiusF(weather.BareSunC(fahrenheit(r.in(t, "air_F")))) }),
	"trange_nz_insul_dark": check(func(t *testing.T, r row) any {
		// What is left at the coldest closes at the hottest, so it is the whole range.
		steel := metal(t, "steel")
		rangeC := steel.GapLeft(1, r.in(t, "min_C"), r.in(t, "max_C")) / steel.ExpansionPerC
		if most := r.figure(t, "ufc_design_dT"); rangeC*9/5 > most {
			t.Errorf("a range of %g °F is more than the design range of %g °F", rangeC*9/5, most)
		}
		return rangeC
	}),

	// 15 U.S.C. 206 is of wrought iron, 480 lb/ft³, by the thickness that stands in it beside the
	// weight (thicknesses from memory).
	"usc_": check(func(t *testing.T, r row) any {
		const kgM3PerLbFt3 = 0.45359237 / (0.3048 * 0.3048 * 0.3048)
		inch := map[float64]float64{16: 1.0 / 16, 18: 1.0 / 20, 20: 3.0 / 80, 22: 1.0 / 32, 24: 1.0 / 40, 26: 3.0 / 160, 28: 1.0 / 64}
		return lbFt2(weather.Metal{DensityKGM3: 480 * kgM3PerLbFt3}, inch[r.in(t, "gauge")])
	}),
	"steel_density": check(func(t *testing.T, r row) any {
		sheet := r.in(t, "pcf") / 12
		if ours := lbFt2(metal(t, "steel"), 1); math.Abs(ours/sheet-1) > 0.001 {
			t.Errorf("ours is %g", ours)
		}
		return sheet
	}),
	"msg_density": check(func(t *testing.T, r row) any { return r.figure(t, "steel_density") * mill }),
	"galv_":       check(func(t *testing.T, r row) any { return lbFt2(metal(t, "steel"), r.in(t, "t_in")) * mill }),
	"coil_24_20in": check(func(t *testing.T, r row) any {
		sheet := lbFt2(metal(t, "steel"), 0.0276) * mill // 24 gauge galvanized
		if math.Abs(sheet-r.in(t, "w_lb_ft2")) > 0.003 {
			t.Errorf("24 gauge weighs %g lb/ft²", sheet)
		}
		return sheet * r.in(t, "width_in") / 12
	}),
	"coil_len": check(func(t *testing.T, r row) any {
		return r.in(t, "coil_lb") / (lbFt2(metal(t, "steel"), 0.0276) * mill * 20 / 12)
	}),
	"al_": check(func(t *testing.T, r row) any { return lbFt2(metal(t, "aluminum"), r.in(t, "t_in")) }),
	"cu_16oz": check(func(t *testing.T, r row) any {
		return r.figure(t, "min_wt_copper") / 16 / lbFt2(metal(t, "copper"), 1)
	}),
	"cu_20oz": check(func(t *testing.T, r row) any { return r.in(t, "oz_ft2") / 16 / lbFt2(metal(t, "copper"), 1) }),
}

// mill is what sheet weighs more than its nominal thickness says: 41.82 against 40.80 lb a
// square foot and inch, the manufacturers' standard gauge.
const mill = 1.025

func metal(t *testing.T, name string) weather.Metal {
	t.Helper()
	m, err := weather.MetalNamed(name)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func fahrenheit(f float64) float64 { return (f - 32) * 5 / 9 }
func celsiusF(c float64) float64   { return c*9/5 + 32 }

func perC(name string) func(*testing.T, row) any {
	return func(t *testing.T, _ row) any { return metal(t, name).ExpansionPerC }
}

func perF(name string) func(*testing.T, row) any {
	return func(t *testing.T, _ row) any { return metal(t, name).ExpansionPerC * 5 / 9 }
}

// lbFt2 is the weight in pounds of a square foot of sheet, some inches thick.
func lbFt2(m weather.Metal, thickIn float64) float64 {
	const footM, kgPerLb = 0.3048, 0.45359237
	return m.MassKG(thickIn*0.0254, footM, footM) / kgPerLb
}
