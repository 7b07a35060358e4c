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

// A typical year at Greensboro, NC (TMY3): each hour's dew point must lie between those
// of its temperature and humidity, over water also below freezing, at the ends of their
// rounding; 0.15 more is for the station's own rounding and constants. The six hours on each
// side of where months of different years were sewn together are left out. February 1996
// and November 1994 have days that the record fills from elsewhere, temperature and dew
// point apart: of those two months four hours in ten may be off.
func TestDewPointAgainstTypicalYear(t *testing.T) {
	filled := map[string]int{}
	hours := reference(t, "tmy3-greensboro-nc.csv")
	for n, r := range hours {
		tempC, dew, rh := number(t, r["drybulb_c"]), number(t, r["dewpoint_c"]), number(t, r["rh_pct"])
		low, high := weather.DewPointC(tempC-0.05, rh-0.5), weather.DewPointC(tempC+0.05, math.Min(rh+0.5, 100))
		if dew >= low-0.15 && dew <= high+0.15 {
			continue
		}
		month := r["date"][:2] + r["date"][5:]
		switch seam := hours[max(0, n-6)]["date"][:2] != hours[min(n+6, len(hours)-1)]["date"][:2] || n < 6 || n >= len(hours)-6; {
		case seam:
		case month == "02/1996" || month == "11/1994":
			filled[month]++
		default:
			t.Errorf("%s %s: dew point %g outside %g to %g", r["date"], r["time_end"], dew, low, high)
		}
	}
	if len(hours) != 8760 {
		t.Errorf("%d hours", len(hours))
	}
	for month, off := range filled {
		if off > 290 {
			t.Errorf("%d hours of %s are off", off, month)
		}
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
