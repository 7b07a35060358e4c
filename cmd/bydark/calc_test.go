package main

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"bydark/events"
)

// TestCalcRefuses gives every formula what it cannot take; the refusal names the key.
func TestCalcRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		keys []string
		want string
	}{
		{"slope-factor", []string{"pitch=6/0"}, `at pitch: 6/0`},
		{"slope-factor", []string{"pitch=6/12", "run=3"}, `unknown at run; want one of pitch`},
		{"slope-factor", []string{"pitch=6/12", "pitch=7/12"}, `doubled at pitch`},
		{"slope-factor", []string{"6/12"}, `: 6/12; want key=value`},
		{"thermal", []string{"metal=tin", "length=40 ft", "dt_c=10"}, `at metal: tin; want one of steel`},
		{"thermal", []string{"metal=steel", "length=40", "dt_c=10"}, `at length: 40; want a length above zero with its unit`},
		{"thermal", []string{"metal=steel", "length=40 ft", "dt_c=NaN"}, `at dt_c: NaN`},
		{"thermal", []string{"length=40 ft", "dt_c=10"}, `missing at metal`},
		{"kz", []string{"exposure=A", "z_ft=30"}, `at exposure: A; want B, C or D`},
		{"kz", []string{"exposure=B", "z_ft=-1"}, `at z_ft: -1`},
		{"kz", []string{"exposure=B", "z_ft=30", "edition=7-98"}, `at edition: 7-98`},
		{"velocity-pressure", []string{"v_mph=115", "kz=0.7"}, `missing at kd`},
		{"velocity-pressure", []string{"v_mph=fast", "kz=0.7", "kd=0.85"}, `at v_mph: fast`},
		{"driving-rain", []string{"rain_mm_h=-1", "wind_ms=5", "angle_deg=0"}, `at rain_mm_h: -1`},
		{"runoff", []string{"area_m2=10", "rain_mm_h=10", "c=2"}, `at c: 2`},
		{"dew-point", []string{"temp_c=20", "rh_pct=0"}, `at rh_pct: 0`},
		{"wet-bulb", []string{"dry_c=20", "wet_c=25"}, `at wet_c: 25; want a wet bulb that air`},
		{"heat-index", []string{"temp_f=200", "rh_pct=50"}, `at temp_f: 200`},
		{"clip-spacing", []string{"psf=0", "cover=16 in", "allowable_n=667"}, `at psf: 0`},
		{"square", []string{"a=3", "b=4", "diagonal=8"}, `at diagonal: 8; want .*no triangle`},
		{"square", []string{"a=3 ft", "b=4", "diagonal=5"}, `mixed units at a, b, diagonal`},
		{"square", []string{"a=-3", "b=4", "diagonal=5"}, `at a: -3`},
		{"sheet-mass", []string{"metal=zinc", "thickness=0 mm", "width=1 ft", "length=1 ft"}, `at thickness: 0 mm`},
		{"reorder", []string{"rate=5", "lead_days=Inf"}, `at lead_days: Inf`},
		{"reorder", []string{"rate=5 rolls", "lead_days=3", "safety=2 boxes"}, `mixed units at safety: 2 boxes; want the safety stock in rolls`},
		{"earned", []string{"bac=100", "ev=0", "ac=45"}, `at ev: 0`},
	} {
		r, err := calculate(c.name, c.keys)
		if err == nil {
			t.Errorf("%s %q gives %v", c.name, c.keys, r.Value)
			continue
		}
		if refusal := events.RefusalIn(err); refusal == nil || !regexp.MustCompile(c.want).MatchString(err.Error()) {
			t.Errorf("%s %q is refused with %q, want %q", c.name, c.keys, err, c.want)
		}
	}
}

// TestFormulasWantTheirKeys leaves out every key once; those with a usual value are few.
func TestFormulasWantTheirKeys(t *testing.T) {
	t.Parallel()
	usual := map[string]bool{"kzt": true, "ke": true, "edition": true, "c": true, "safety": true, "altitude_m": true}
	whole := map[string][]string{
		"slope-factor": {"pitch=6/12"}, "hip-factor": {"pitch=6/12"}, "thermal": {"metal=zinc", "length=3 m", "dt_c=50"},
		"velocity-pressure": {"v_mph=115", "kz=0.7", "kzt=1", "kd=0.85", "ke=1"}, "kz": {"exposure=B", "z_ft=30", "edition=7-16"},
		"driving-rain": {"rain_mm_h=2", "wind_ms=5", "angle_deg=0"}, "runoff": {"area_m2=10", "rain_mm_h=10", "c=1"},
		"dew-point": {"temp_c=20", "rh_pct=50"}, "wet-bulb": {"dry_c=21", "wet_c=17"}, "moist-air": {"temp_c=20", "rh_pct=50", "altitude_m=300"},
		"heat-index": {"temp_f=96", "rh_pct=65"}, "storm": {"half_hour_mm=70"}, "edge-strip": {"least_width_ft=40", "height_ft=20"},
		"gap": {"metal=steel", "length=12 m", "metal_c=10", "hottest_air_c=35"}, "clip-spacing": {"psf=38.7", "cover=16 in", "allowable_n=667"}, "square": {"a=3", "b=4", "diagonal=5"},
		"sheet-mass": {"metal=copper", "thickness=0.5 mm", "width=1 m", "length=1 m"},
		"reorder":    {"rate=5", "lead_days=3", "safety=1"}, "earned": {"bac=100", "ev=40", "ac=45"},
	}
	for name, f := range formulas {
		keys := whole[name]
		if len(keys) != len(f.keys) {
			t.Fatalf("%s: the table here gives %d of %d keys", name, len(keys), len(f.keys))
		}
		if r, err := calculate(name, keys); err != nil || r.Unit == "" || r.Formula == "" || r.Source == "" {
			t.Errorf("%s %q: %+v, %v", name, keys, r, err)
		}
		for i, word := range keys {
			key, _, _ := strings.Cut(word, "=")
			less := append(append([]string{}, keys[:i]...), keys[i+1:]...)
			_, err := calculate(name, less)
			refusal := events.RefusalIn(err)
			if usual[key] != (err == nil) || err != nil && (refusal == nil || refusal.Code != "missing" || refusal.Where != key) {
				t.Errorf("%s without %s: %v", name, key, err)
			}
		}
	}
}

// FuzzCalc throws any words at any formula: it answers with a number, or refuses.
func FuzzCalc(f *testing.F) {
	f.Add("thermal", "metal=zinc\nlength=3 m\ndt_c=50")
	f.Add("reorder", "rate=1e12\nlead_days=3650\nsafety=1e12")
	f.Add("square", "a=1e-300\nb=1e9\ndiagonal=1e9")
	f.Add("dew-point", "temp_c=-45\nrh_pct=0.01")
	f.Add("earned", "bac=1e12\nev=1e-300\nac=1e12")
	f.Fuzz(func(t *testing.T, name, words string) {
		r, err := calculate(name, strings.Split(words, "\n"))
		switch {
		case err == nil && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)):
			t.Errorf("%s %q gives %v", name, words, r.Value)
		case err == nil:
			for also, v := range r.Also {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%s %q gives %s %v", name, words, also, v)
				}
			}
		case events.RefusalIn(err) == nil:
			t.Errorf("%s %q fails: %v", name, words, err)
		}
	})
}
