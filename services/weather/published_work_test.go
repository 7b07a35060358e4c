package weather_test

import (
	"math"
	"testing"

	"bydark/services/burn"
)

// workRows are earned value and reorder points.
var workRows = map[string]verdict{
	"f_cpi": check(says(func(e burn.Earned, f burn.Forecast) (float64, float64) { return f.CPI, e.EV / e.AC })),
	"f_tcpi": check(says(func(e burn.Earned, f burn.Forecast) (float64, float64) {
		return f.TCPI, (e.BAC - e.EV) / (e.BAC - e.AC)
	})),
	"f_eac_cpi":  check(says(func(e burn.Earned, f burn.Forecast) (float64, float64) { return f.EAC, e.AC + (e.BAC-e.EV)/f.CPI })),
	"f_eac_comp": none("it needs the value planned by a date, and a material has no such plan"),
	"evm_cpi":    check(func(t *testing.T, r row) any { return earned(t, r).CPI }),
	"evm_eac":    check(func(t *testing.T, r row) any { return earned(t, r).EAC }),
	"evm_etc":    check(func(t *testing.T, r row) any { return earned(t, r).ETC }),
	"evm_vac":    check(func(t *testing.T, r row) any { return earned(t, r).VAC }),
	"evm_tcpi":   check(func(t *testing.T, r row) any { return earned(t, r).TCPI }),
	"evm_ex1_ev": check(func(t *testing.T, r row) any {
		// The example gives what is still to be used, from which the value earned follows; we
		// must find the same ETC from it.
		ev := r.in(t, "BAC") * r.in(t, "AC") / (r.in(t, "AC") + r.in(t, "ETC"))
		if f := forecast(t, burn.Earned{BAC: r.in(t, "BAC"), EV: ev, AC: r.in(t, "AC")}); math.Abs(f.ETC-r.in(t, "ETC")) > 0.01 {
			t.Errorf("ETC is %g", f.ETC)
		}
		return ev
	}),
	"evm_ex1_vac": check(func(t *testing.T, r row) any {
		f := forecast(t, burn.Earned{BAC: r.in(t, "BAC"), EV: r.in(t, "BAC"), AC: r.in(t, "EAC")}) // at its end
		return math.Round(f.VAC*1e9) / 1e9
	}),
	"rop_sand": check(func(t *testing.T, r row) any {
		return burn.ReorderPoint(r.in(t, "mean_LT"), 1, burn.SafetyStock(r.in(t, "z"), 0, r.in(t, "sd"), 1, 0))
	}),
	"rop_var_lt": check(func(t *testing.T, r row) any {
		d, l := r.in(t, "d"), r.in(t, "L")
		return burn.ReorderPoint(d, l, burn.SafetyStock(r.in(t, "z"), d, 0, l, r.in(t, "sdL")))
	}),
	"rop_zero_var": check(func(t *testing.T, r row) any {
		d, l := r.in(t, "d"), r.in(t, "L")
		return burn.ReorderPoint(d, l, burn.SafetyStock(1.88, d, 0, l, 0))
	}),
	"rop_hammers": check(func(t *testing.T, r row) any {
		d, l := r.in(t, "d"), r.in(t, "L")
		return burn.ReorderPoint(d, l, burn.SafetyStock(r.in(t, "z"), d, r.in(t, "sd"), l, 0))
	}),
	"burn_material": check(func(t *testing.T, r row) any {
		return forecast(t, burn.Earned{BAC: r.in(t, "BAC"), EV: r.in(t, "BAC") * r.in(t, "pct"), AC: r.in(t, "AC")}).EAC
	}),
}

func forecast(t *testing.T, e burn.Earned) burn.Forecast {
	t.Helper()
	f, err := e.Forecast()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func earned(t *testing.T, r row) burn.Forecast {
	t.Helper()
	return forecast(t, burn.Earned{BAC: r.in(t, "BAC"), EV: r.in(t, "EV"), AC: r.in(t, "AC")})
}

// says holds a printed formula against ours on a few accounts; it answers with the row's
// words where they agree.
func says(both func(burn.Earned, burn.Forecast) (ours, printed float64)) func(*testing.T, row) any {
	return func(t *testing.T, r row) any {
		for _, e := range []burn.Earned{{BAC: 100, EV: 40, AC: 45}, {BAC: 3200, EV: 1440, AC: 1650}, {BAC: 10, EV: 9, AC: 3}} {
			if ours, printed := both(e, forecast(t, e)); math.Abs(ours-printed) > 1e-12*math.Abs(printed) {
				t.Errorf("%s of %+v is %g, ours %g", r.expected, e, printed, ours)
			}
		}
		return r.expected
	}
}
