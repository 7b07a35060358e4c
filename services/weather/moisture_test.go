package weather_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bydark/services/weather"
)

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// ASHRAE's saturation pressures (over ice below freezing) by the psychrolib tests. Magnus
// is held to the half percent that its comment promises, inside its range.
func TestSaturationAgainstASHRAE(t *testing.T) {
	compared := 0
	for _, r := range reference(t, "psychro.csv") {
		var tempC, wantHPa float64
		switch {
		case r["quantity"] != "SatVapPres":
			continue
		case r["units"] == "SI":
			tempC, wantHPa = number(t, r["arguments_in_order"]), number(t, r["expected"])/100
		default:
			tempC, wantHPa = fahrenheit(number(t, r["arguments_in_order"])), number(t, r["expected"])*68.9475729
		}
		got := weather.SaturationHPa(tempC)
		if tempC < 0 {
			got = weather.IceSaturationHPa(tempC)
		}
		tolerance := 0.005
		if tempC < -50 {
			tolerance = 0.04 // printed to three figures
		}
		if tempC > 60 {
			t.Logf("%g °C is outside the formula's range", tempC)
			continue
		}
		if math.Abs(got/wantHPa-1) > tolerance {
			t.Errorf("%g °C: %g hPa, ASHRAE %g", tempC, got, wantHPa)
		}
		compared++
	}
	if compared < 4 {
		t.Errorf("only %d rows compared", compared)
	}
}

// A typical year at Greensboro, NC (TMY3): each hour's dew point must lie between those
// of its temperature and humidity at the ends of their rounding. Left out are hours below
// freezing, where the record reckons humidity over ice, and the six hours on each side of
// where months of different years were sewn together, temperature and dew point apart.
func TestDewPointAgainstTypicalYear(t *testing.T) {
	lines, off := 0, 0
	for _, r := range reference(t, "tmy3-greensboro-nc.csv") {
		tempC, dew, rh := number(t, r["drybulb_c"]), number(t, r["dewpoint_c"]), number(t, r["rh_pct"])
		if tempC <= 0 || dew <= 0 {
			continue
		}
		low, high := weather.DewPointC(tempC-0.05, rh-0.5), weather.DewPointC(tempC+0.05, math.Min(rh+0.5, 100))
		// 0.15: the station's own rounding and its constants.
		if dew < low-0.15 || dew > high+0.15 {
			t.Logf("%s %s: dew point %g outside %g to %g", r["date"], r["time_end"], dew, low, high)
			off++
		}
		lines++
	}
	if seams := 11 * 12; lines < 5000 || off > seams {
		t.Errorf("%d of %d hours off, the seams have %d", off, lines, seams)
	}
}

func TestMoistureTurnsRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tempC, rh := rapid.Float64Range(-40, 55).Draw(t, "temp"), rapid.Float64Range(1, 100).Draw(t, "rh")
		dew := weather.DewPointC(tempC, rh)
		if dew > tempC+1e-9 {
			t.Fatalf("dew point %g above %g", dew, tempC)
		}
		if back := weather.RelativeHumidityPct(tempC, dew); math.Abs(back-rh) > 1e-9*rh {
			t.Fatalf("humidity %g came back as %g", rh, back)
		}
		if frost := weather.FrostPointC(dew); dew < -0.5 && frost < dew {
			t.Fatalf("frost point %g below the dew point %g", frost, dew)
		}
	})
}

func TestWetBulbNeedsTheSameAir(t *testing.T) {
	for _, c := range [][2]float64{{10, 12}, {40, 5}} {
		if v := weather.WetBulbDewPointC(c[0], c[1]); !math.IsNaN(v) {
			t.Errorf("dry %g wet %g: dew point %g", c[0], c[1], v)
		}
	}
}

func TestMetalNames(t *testing.T) {
	for _, name := range []string{"aluminium", "stainless steel", "zinc"} {
		if _, err := weather.MetalNamed(name); err != nil {
			t.Error(err)
		}
	}
	_, err := weather.MetalNamed("lead")
	if err == nil || !strings.Contains(err.Error(), "copper") {
		t.Errorf("an unknown metal: %v", err)
	}
}

// What is left today closes at the hottest: gap and movement add up.
func TestGapLeft(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := weather.Metals[rapid.IntRange(0, len(weather.Metals)-1).Draw(t, "metal")]
		length, now, hot := rapid.Float64Range(0, 20000).Draw(t, "mm"), rapid.Float64Range(-30, 90).Draw(t, "now"), rapid.Float64Range(-30, 90).Draw(t, "hot")
		gap := m.GapLeft(length, now, hot)
		switch {
		case now >= hot && gap != 0:
			t.Fatalf("a gap of %g for metal that only cools", gap)
		case now < hot && math.Abs(gap-m.Movement(length, hot-now)) > 1e-12:
			t.Fatalf("gap %g", gap)
		}
	})
}
