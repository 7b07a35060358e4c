package weather_test

import (
	"math"
	"testing"
	"time"

	"bydark/services/weather"
)

// Each way in by itself, reckoned by hand; the driven rain is that of the published row
// iso_10_5_60: 4.6458 litres a square metre at 5 mm/h, 10 m/s and 60 degrees.
func TestEntersByHand(t *testing.T) {
	gap := weather.Opening{LengthM: 4, HeightM: 0.05, FacingDeg: 180, WindFactor: 1}
	sheltered, east := gap, gap
	sheltered.WindFactor, east.FacingDeg = 0.5, 90
	roof := weather.Opening{DrainedM2: 100, RunoffShare: 0.25, RunoffC: 0.8}
	for _, c := range []struct {
		what                    string
		o                       weather.Opening
		rain, wind, from, hours float64
		direct, runoff, driven  float64
	}{
		{"bare deck", weather.Opening{BareM2: 10}, 3, 20, 0, 2, 60, 0, 0},
		{"a roof above", roof, 6, 20, 0, 0.5, 0, 60, 0},
		{"a gap", gap, 5, 10, 240, 1, 0, 0, 4.6458 * 0.2},
		{"from the other side of it", gap, 5, 10, 120, 1, 0, 0, 4.6458 * 0.2},
		{"past a full turn", gap, 5, 10, 600, 1, 0, 0, 4.6458 * 0.2},
		{"sheltered", sheltered, 5, 10, 240, 3, 0, 0, 1.5 * 4.6458 * 0.2},
		{"looking east, wind from behind", east, 5, 10, 270, 1, 0, 0, 0},
		{"looking east, wind along it", east, 5, 10, 180, 1, 0, 0, 0},
		{"no hours", roof, 6, 20, 0, 0, 0, 0, 0},
	} {
		got := c.o.Enters(c.rain, c.wind, c.from, c.hours)
		if math.Abs(got.Direct-c.direct) > 1e-4 || math.Abs(got.Runoff-c.runoff) > 1e-4 || math.Abs(got.Driven-c.driven) > 1e-4 {
			t.Errorf("%s: %+v, by hand %g, %g, %g", c.what, got, c.direct, c.runoff, c.driven)
		}
	}
}

// A night of six hours, each of another kind, over a square metre of bare deck: its litres
// are the millimetres.
func TestNightByHand(t *testing.T) {
	k, none := weather.Known, weather.Reading{}
	start := time.Date(2024, 1, 9, 22, 0, 0, 0, time.UTC)
	f := weather.Forecast{}
	for n, h := range []struct{ rain, chance weather.Reading }{
		{k(2), k(50)}, // from half past on: 1 expected; 2 · 100/50 mm/h if it rains, of which half an hour
		{none, k(40)}, // no amount: 2.5 assumed, at 40 %
		{k(0), none},  // dry
		{k(0), k(30)}, // dry, and 2.5 if it rains
		{k(1), k(0)},  // a chance of nothing does not make an amount less
		// nothing is said of the sixth: 2.5 in both
	} {
		f.Hours = append(f.Hours, weather.Hour{Time: start.Add(time.Duration(n) * time.Hour), RainMM: h.rain, ChancePct: h.chance})
	}
	n := weather.Opening{BareM2: 1}.Night(f, start.Add(30*time.Minute), start.Add(6*time.Hour), weather.UsualAssumed)
	expected := []float64{1, 1, 0, 0, 1, 2.5}
	ifRain := []float64{2, 2.5, 0, 2.5, 1, 2.5}
	assumed := []bool{false, true, false, false, false, true}
	if len(n.Hours) != 6 {
		t.Fatalf("%d hours", len(n.Hours))
	}
	for i, h := range n.Hours {
		if !same(h.Expected.Total(), expected[i]) || !same(h.IfRain.Total(), ifRain[i]) || h.Assumed != assumed[i] {
			t.Errorf("hour %d: %+v, by hand %g and %g", i, h, expected[i], ifRain[i])
		}
	}
	if !same(n.Expected.Total(), 5.5) || !same(n.IfRain.Total(), 10.5) || n.Unknown != 2 || n.ChancePct != 100 || !n.First.Equal(start) {
		t.Errorf("%g and %g, %d unknown, %g %%, first %s", n.Expected.Total(), n.IfRain.Total(), n.Unknown, n.ChancePct, n.First)
	}
}

// The wind that drives the rain: as forecast; straight at the opening where its direction is not
// known; 8 m/s straight where nothing is.
func TestNightsWind(t *testing.T) {
	k := weather.Known
	o := weather.Opening{LengthM: 1, HeightM: 1, FacingDeg: 90, WindFactor: 1}
	straight := func(wind float64) float64 { return 2.0 / 9 * wind * math.Pow(3, 8.0/9) }
	for _, c := range []struct {
		what string
		h    weather.Hour
		want float64
	}{
		{"at it", weather.Hour{WindMS: k(5), WindFromDeg: k(90)}, straight(5)},
		{"aslant", weather.Hour{WindMS: k(5), WindFromDeg: k(150)}, straight(5) / 2},
		{"from behind", weather.Hour{WindMS: k(5), WindFromDeg: k(270)}, 0},
		{"from nobody knows where", weather.Hour{WindMS: k(5)}, straight(5)},
		{"nobody knows how strong", weather.Hour{WindFromDeg: k(270)}, straight(8)},
		{"calm", weather.Hour{WindMS: k(0), WindFromDeg: k(90)}, 0},
	} {
		c.h.Time, c.h.RainMM, c.h.ChancePct = dusk.Truncate(time.Hour), k(3), k(100)
		n := o.Night(weather.Forecast{Hours: []weather.Hour{c.h}}, c.h.Time, c.h.Time.Add(time.Hour), weather.UsualAssumed)
		if got := n.Expected.Driven; math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %g litres, by hand %g", c.what, got, c.want)
		}
	}
}

// Of two planes one drains onto the other, beside a third: 2 mm on 100, 50 and 10 m².
func TestCascadeByHand(t *testing.T) {
	enters, leaves, err := weather.Cascade([]weather.Catchment{{50, 0.5, -1}, {100, 0.25, 0}, {10, 0, -1}}, 2)
	if err != nil {
		t.Fatal(err)
	}
	// The upper takes 50 of 200 and sends 150 down; the lower takes half of 150 + 100.
	if !same(enters[1], 50) || !same(enters[0], 125) || enters[2] != 0 || !same(leaves, 125+20) {
		t.Errorf("%v enter, %g leaves", enters, leaves)
	}
}

// The zones' width by limit: each of the rule's four parts governs somewhere.
func TestEdgeStrip(t *testing.T) {
	for _, c := range []struct{ width, height, want float64 }{
		{60, 40, 6},  // a tenth of the width
		{100, 20, 8}, // 0.4 of the height
		{200, 10, 8}, // not less than 4 % of the width
		{20, 20, 3},  // not less than 3 ft
	} {
		if got := weather.EdgeStripFt(c.width, c.height); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%g ft wide and %g high: %g, want %g", c.width, c.height, got, c.want)
		}
	}
}

// Wind by limit: twice the wind presses four times; height counts from 15 ft on and no more
// above the gradient; lift and pressure are both made worse by the pressure inside.
func TestWindByLimit(t *testing.T) {
	if one, two := weather.VelocityPressurePSF(50, 0.7, 1, 0.85, 1), weather.VelocityPressurePSF(100, 0.7, 1, 0.85, 1); !same(two, 4*one) {
		t.Errorf("%g and %g psf", one, two)
	}
	for _, e := range []weather.WindEdition{weather.ASCE716, weather.ASCE722} {
		for exposure, x := range e.Exposures {
			kz := func(ft float64) float64 {
				v, err := e.Kz(exposure, ft)
				if err != nil {
					t.Fatal(err)
				}
				return v
			}
			if kz(0) != kz(15) || kz(16) <= kz(15) || !same(kz(x.ZgFt), e.K) || kz(5000) != kz(x.ZgFt) {
				t.Errorf("%s, exposure %s: %g, %g, %g, %g", e.Name, exposure, kz(0), kz(15), kz(x.ZgFt), kz(5000))
			}
		}
	}
	if up, down := weather.CladdingPressurePSF(10, -1, 0.18), weather.CladdingPressurePSF(10, 0.5, 0.18); !same(up, -11.8) || !same(down, 6.8) {
		t.Errorf("lift %g, pressure %g", up, down)
	}
}

func TestSunDays(t *testing.T) {
	laid := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	if got := weather.SunDays(laid, laid.Add(36*time.Hour)); got != 1.5 {
		t.Errorf("%g days", got)
	}
	if got := weather.SunDays(laid, laid.Add(-time.Hour)); got != 0 {
		t.Errorf("before it was laid: %g days", got)
	}
}

// Bare metal under a clear sky falls 5 °C below the air, under a closed one not at all.
func TestMetalAtNight(t *testing.T) {
	for sky, want := range map[float64]float64{0: 5, 50: 7.5, 100: 10} {
		if got := weather.MetalNightC(10, sky); got != want {
			t.Errorf("under %g %% of cloud %g °C, want %g", sky, got, want)
		}
	}
}
