package calc

import (
	"math"
	"strings"
	"testing"

	"bydark/events"
)

func args(pairs string) map[string]string {
	m := map[string]string{}
	for _, p := range strings.Fields(pairs) {
		k, v, _ := strings.Cut(p, "=")
		m[k] = strings.ReplaceAll(v, "_", " ")
	}
	return m
}

// Each formula through its words, against a published value: the rows of
// testdata/checks/published.csv by their case names.
func TestAnswers(t *testing.T) {
	asked := map[string]bool{}
	for _, c := range []struct {
		row, name, args string
		want, tolerance float64
		unit            string
	}{
		{"slope_len_6_12: 13.42 in a foot", "slope-factor", "pitch=6/12", 13.42 / 12, 0.0005, "1"},
		{"hip_valley_factor_8_12", "hip-factor", "pitch=8/12", 1.5635, 0.0002, "1"},
		{"nz_30m", "thermal", "metal=steel length=30_m dt_c=60", 21.6, 0.05, "mm"},
		{"nrca_40ft: 0.51 in", "thermal", "metal=steel length=40' dt_c=88.889", 0.51 * 25.4, 0.3, "mm"},
		{"irc_7_27_pos_130: 10.5 psf over 0.68, not allowable", "velocity-pressure", "v_mph=130 kz=0.70 kd=0.85", 10.5 / 0.68 / 0.6, 0.2, "psf"},
		{"kz_C_30", "kz", "exposure=C z_ft=30", 0.98, 0.008, "1"},
		{"kz_22_B_30", "kz", "exposure=B z_ft=30 edition=7-22", 0.69, 0.01, "1"},
		{"iso_8_10_45", "driving-rain", "wind_ms=8 rain_mm_h=10 angle_deg=45", 9.7331, 0.0005, "L/m2"},
		{"metric_unit: 0.01667 L/min", "runoff", "area_m2=1 rain_mm_h=1 c=1", 0.01667 / 60, 1e-6, "L/s"},
		{"td_25_85", "dew-point", "temp_c=25 rh_pct=85", 22, 0.6, "degC"},
		{"leg_error", "square", `a=72_in b=96_in diagonal=120.25_in`, 90.249, 0.001, "deg"},
		{"leg_error, plain", "square", "a=72 b=96 diagonal=120.25", 90.249, 0.001, "deg"},
		{"diag_20_30", "square", "a=20 b=30", 36.0555, 0.0005, "in the legs' unit"},
		{"t_6_8_10: 10 ft", "square", "a=6' b=8'", 3048, 1e-9, "mm"},
		{"al_40: 0.564 lb/ft²", "sheet-mass", "metal=aluminum thickness=0.040_in width=12_in length=1'", 0.564 * 0.45359237, 0.001, "kg"},
		{"rop_zero_var", "reorder", "rate=5 lead_days=3", 15, 0, "in the rate's unit"},
		{"evm_eac", "earned", "bac=100 ev=40 ac=45", 112.5, 0.05, "in the budget's unit"},
	} {
		asked[c.name] = true
		a, err := Of(c.name, args(c.args))
		if err != nil {
			t.Errorf("%s: %v", c.row, err)
			continue
		}
		if math.Abs(a.Value-c.want) > c.tolerance || a.Unit != c.unit || a.Formula == "" || a.Source == "" {
			t.Errorf("%s: %+v, want %g %s", c.row, a, c.want, c.unit)
		}
	}
	for _, name := range Names() {
		if !asked[name] {
			t.Errorf("%s: no published value is asked of it", name)
		}
	}
}

// A refusal names the key and what would be right.
func TestRefusals(t *testing.T) {
	for _, c := range []struct{ name, args, says string }{
		{"tangent", "", "slope-factor"},
		{"slope-factor", "", "pitch"},
		{"slope-factor", "pitch=steep", "6/12"},
		{"slope-factor", "pitch=6/0", "6/12"},
		{"slope-factor", "pitch=6/12 roof=A", "roof"},
		{"thermal", "metal=lead length=1_m dt_c=1", "copper"},
		{"thermal", "metal=zinc length=1 dt_c=1", "length"},
		{"thermal", "metal=zinc length=1_m dt_c=warm", "dt_c"},
		{"velocity-pressure", "v_mph=NaN kz=1", "v_mph"},
		{"velocity-pressure", "v_mph=-1 kz=1", "v_mph"},
		{"kz", "exposure=A z_ft=10", "B, C or D"},
		{"kz", "exposure=C z_ft=10 edition=7-98", "7-22"},
		{"driving-rain", "wind_ms=8 rain_mm_h=1e9 angle_deg=0", "rain_mm_h"},
		{"runoff", "area_m2=1 rain_mm_h=1 c=2", "c"},
		{"dew-point", "temp_c=20 rh_pct=0", "rh_pct"},
		{"dew-point", "temp_c=20 rh_pct=0x10", "rh_pct"},
		{"square", "a=1 b=1 diagonal=3", "triangle"},
		{"square", "a=1' b=1 diagonal=3'", "b"},
		{"square", "a=0 b=1 diagonal=1", "leg above zero"},
		{"sheet-mass", "metal=copper thickness=-1_mm width=1_m length=1_m", "thickness"},
		{"earned", "bac=100 ev=0 ac=1", "ev"},
		{"earned", "bac=x ev=1 ac=1", "bac"},
		{"reorder", "rate=1", "lead_days"},
	} {
		a, err := Of(c.name, args(c.args))
		r := events.RefusalIn(err)
		if r == nil || a.Unit != "" {
			t.Errorf("%s %s: %+v, %v", c.name, c.args, a, err)
			continue
		}
		if !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s %s: %q does not say %q", c.name, c.args, err, c.says)
		}
	}
}
