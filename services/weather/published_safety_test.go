package weather_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/services/weather"
)

const (
	competent = "the program names the height from which falls are prevented; how is the competent person's, and it prints none of these figures"
)

// safetyRows are thresholds of falls, wind and heat: each is put to Cautions, which must speak
// from the published figure on.
var safetyRows = map[string]verdict{
	"b10_height": check(fallFrom), "b11_height": check(fallFrom), "b13_height": check(fallFrom),
	"b10_monitor_width": none(competent), "guardrail_h": none(competent), "pfas_anchor": none(competent), "pfas_force_freefall": none(competent),
	"warn_line_edge": none(competent), "warn_line_mech": none(competent), "warn_line_h": none(competent), "warn_line_tip": none(competent),
	"warn_line_tensile": none(competent),

	"high_wind": check(func(t *testing.T, r row) any {
		high := r.value(t)
		if !windToldAt(high, "high wind") || windToldAt(high-0.1, "high wind") {
			t.Errorf("high wind is not told from %g mph on, and only then", high)
		}
		return float64(weather.HighWindMPH)
	}),
	"high_wind_metric": check(func(t *testing.T, r row) any { return r.in(t, "mph") * weather.MSPerMPH * 3.6 }),
	// Where the weather service would warn, handling sheets is cautioned; from its high wind on, being there.
	"nws_wind_adv_sust": check(windFrom("wind")), "nws_wind_adv_gust": check(windFrom("high wind")), "nws_high_wind": check(windFrom("high wind")),
	"nws_svr": check(windFrom("high wind")), "nws_sps": check(windFrom("high wind")),

	"hi_": check(func(t *testing.T, r row) any { return weather.HeatIndexF(r.in(t, "T_F"), r.in(t, "RH_pct")) }),
	"osha_heat_bands": check(func(t *testing.T, r row) any {
		var bands []string
		for _, b := range weather.HeatBands[1:] {
			bands = append(bands, fmt.Sprint(b.FromF))
			if !strings.Contains(heatTold(b.FromF+0.5), b.Risk) {
				t.Errorf("at a heat index of %g it says %q", b.FromF+0.5, heatTold(b.FromF+0.5))
			}
		}
		if told := heatTold(weather.HeatBands[1].FromF - 0.5); told != "" {
			t.Errorf("below the first band it says %q", told)
		}
		return strings.Join(bands, ";")
	}),
	"sun_add": check(func(t *testing.T, _ row) any {
		if told := heatTold(100); !strings.Contains(told, fmt.Sprintf("up to %d more in the sun", weather.SunAddsF)) {
			t.Errorf("it says %q", told)
		}
		return float64(weather.SunAddsF)
	}),
}

var noon = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

// told are the cautions of one hour, work at a height, but for that of what is not forecast.
func told(h weather.Hour, feet float64) []weather.Caution {
	h.Time = noon
	all := weather.Cautions([]weather.Hour{h}, noon, noon.Add(time.Hour), feet)
	return slices.DeleteFunc(all, func(c weather.Caution) bool { return c.Code == "unsaid" })
}

// fallFrom is the height from which falls are cautioned, found by halving.
func fallFrom(_ *testing.T, _ row) any {
	low, high := 0.0, 50.0
	for range 60 {
		if mid := (low + high) / 2; len(told(weather.Hour{}, mid)) > 0 {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

func windToldAt(mph float64, words string) bool {
	for _, c := range told(weather.Hour{GustMS: weather.Known(mph * weather.MSPerMPH)}, 0) {
		if c.Code == "wind" && strings.Contains(c.Text+" wind", words) {
			return true
		}
	}
	return false
}

// windFrom takes the lower wind of a row such as 40;58 or 31-39 and asks for a caution with
// the words at it.
func windFrom(words string) func(*testing.T, row) any {
	return func(t *testing.T, r row) any {
		var mph float64
		if _, err := fmt.Sscan(strings.FieldsFunc(r.expected, func(c rune) bool { return c == ';' || c == '-' })[0], &mph); err != nil {
			t.Fatal(err)
		}
		if !windToldAt(mph, words) {
			t.Errorf("at %g mph there is no caution of %s", mph, words)
		}
		return r.expected
	}
}

// heatTold is the caution at a heat index, found by warming air of 50 % humidity.
func heatTold(index float64) string {
	low, high := 60.0, 130.0
	for range 60 {
		if mid := (low + high) / 2; weather.HeatIndexF(mid, 50) < index {
			low = mid
		} else {
			high = mid
		}
	}
	for _, c := range told(weather.Hour{TempC: weather.Known(fahrenheit(high)), RHPct: weather.Known(50)}, 0) {
		if c.Code == "heat" {
			return c.Text
		}
	}
	return ""
}
