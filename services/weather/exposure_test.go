package weather_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bydark/services/weather"
)

func anyOpening(t *rapid.T) weather.Opening {
	f := func(name string, hi float64) float64 { return rapid.Float64Range(0, hi).Draw(t, name) }
	return weather.Opening{BareM2: f("bare", 500), LengthM: f("length", 60), HeightM: f("height", 0.3), FacingDeg: f("facing", 360),
		DrainedM2: f("drained", 500), RunoffShare: f("share", 1), RunoffC: f("c", 1), WindFactor: f("factor", 1.2)}
}

func same(a, b float64) bool {
	return math.Abs(a-b) <= 1e-9*math.Max(1, math.Max(math.Abs(a), math.Abs(b)))
}

// Physics by limit, for any opening and any sky.
func TestEntersByLimit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOpening(t)
		rain, wind, from := rapid.Float64Range(0.01, 100).Draw(t, "rain"), rapid.Float64Range(0, 40).Draw(t, "wind"), rapid.Float64Range(-720, 720).Draw(t, "from")
		if l := o.Enters(0, wind, from, 1); l.Total() != 0 {
			t.Fatalf("no rain and %v", l)
		}
		if l := (weather.Opening{}).Enters(rain, wind, from, 1); l.Total() != 0 {
			t.Fatalf("a closed roof and %v", l)
		}
		once, twice := o.Enters(rain, wind, from, 1), o.Enters(2*rain, wind, from, 1)
		if !same(twice.Direct, 2*once.Direct) || !same(twice.Runoff, 2*once.Runoff) || !same(twice.Driven, math.Pow(2, 8.0/9)*once.Driven) {
			t.Fatalf("twice the rain: %v of %v", twice, once)
		}
		if behind := o.Enters(rain, wind, o.FacingDeg+180+rapid.Float64Range(-90, 90).Draw(t, "behind"), 1); behind.Driven != 0 {
			t.Fatalf("wind from behind drives in %v", behind)
		}
		if calm := o.Enters(rain, 0, from, 1); calm.Driven != 0 {
			t.Fatalf("no wind drives in %v", calm)
		}
		if turn := o.Enters(rain, wind, from+360, 1); !same(turn.Driven, once.Driven) {
			t.Fatalf("a full turn changes %v to %v", once, turn)
		}
		part := rapid.Float64Range(0, 1).Draw(t, "part")
		if sum := o.Enters(rain, wind, from, part).Total() + o.Enters(rain, wind, from, 1-part).Total(); !same(sum, once.Total()) {
			t.Fatalf("an hour in two parts: %g of %g", sum, once.Total())
		}
	})
}

var dusk = time.Date(2024, 1, 9, 22, 40, 0, 0, time.UTC)

func rained(hours ...float64) weather.Forecast {
	f := weather.Forecast{}
	for n, r := range hours {
		f.Hours = append(f.Hours, weather.Hour{Time: dusk.Truncate(time.Hour).Add(time.Duration(n) * time.Hour),
			RainMM: weather.Known(r), ChancePct: weather.Known(80), WindMS: weather.Known(6), WindFromDeg: weather.Known(200)})
	}
	return f
}

// The night is the sum of its hours, and of its two halves wherever it is cut.
func TestNightAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := anyOpening(t)
		f := rained(rapid.SliceOfN(rapid.Float64Range(0, 12), 1, 14).Draw(t, "rain")...)
		dawn := dusk.Add(time.Duration(rapid.IntRange(1, 16*60).Draw(t, "minutes")) * time.Minute)
		cut := dusk.Add(time.Duration(rapid.Int64Range(0, int64(dawn.Sub(dusk))).Draw(t, "cut")))
		whole := o.Night(f, dusk, dawn, weather.UsualAssumed)
		sum := 0.0
		for _, h := range whole.Hours {
			sum += h.Expected.Total()
		}
		if !same(sum, whole.Expected.Total()) {
			t.Fatalf("hours %g, night %g", sum, whole.Expected.Total())
		}
		first, second := o.Night(f, dusk, cut, weather.UsualAssumed), o.Night(f, cut, dawn, weather.UsualAssumed)
		if !same(first.Expected.Total()+second.Expected.Total(), whole.Expected.Total()) || !same(first.IfRain.Total()+second.IfRain.Total(), whole.IfRain.Total()) {
			t.Fatalf("cut at %s: %v and %v of %v", cut, first.Expected, second.Expected, whole.Expected)
		}
		if whole.IfRain.Total() < whole.Expected.Total()-1e-9 {
			t.Fatalf("if it rains %v, less than expected %v", whole.IfRain, whole.Expected)
		}
	})
}

func TestNightWithoutForecastAssumesRain(t *testing.T) {
	o := weather.Opening{BareM2: 10}
	n := o.Night(weather.Forecast{}, dusk, dusk.Add(10*time.Hour), weather.UsualAssumed)
	if want := 10 * 2.5 * 10.0; !same(n.Expected.Total(), want) || n.Unknown != len(n.Hours) || n.ChancePct != 100 {
		t.Errorf("expected %v of %g, %d of %d hours unknown, chance %g", n.Expected, want, n.Unknown, len(n.Hours), n.ChancePct)
	}
	dry := rained(0, 0, 0)
	for i := range dry.Hours {
		dry.Hours[i].ChancePct = weather.Known(0)
	}
	if n := o.Night(dry, dusk, dusk.Add(2*time.Hour), weather.UsualAssumed); n.IfRain.Total() != 0 || !n.First.IsZero() {
		t.Errorf("a dry night brings %v, first %s", n.IfRain, n.First)
	}
}

// What goes in and what runs off is the rain, down any chain of planes.
func TestCascadeConservesWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "planes")
		planes := make([]weather.Catchment, n)
		area := 0.0
		for i := range planes {
			// Below is always later in the list, so there is no ring.
			planes[i] = weather.Catchment{AreaM2: rapid.Float64Range(0, 300).Draw(t, "area"), Takes: rapid.Float64Range(0, 1).Draw(t, "takes"), Below: -1}
			if i+1 < n && rapid.Bool().Draw(t, "drains on") {
				planes[i].Below = rapid.IntRange(i+1, n-1).Draw(t, "below")
			}
			area += planes[i].AreaM2
		}
		enters, leaves, err := weather.Cascade(planes, 7)
		if err != nil {
			t.Fatal(err)
		}
		sum := leaves
		for _, e := range enters {
			sum += e
		}
		if !same(sum, 7*area) {
			t.Fatalf("%g litres of %g", sum, 7*area)
		}
	})
}

func TestCascadeRefuses(t *testing.T) {
	for _, planes := range [][]weather.Catchment{
		{{1, 0, 1}, {1, 0, 0}}, {{1, 0, 0}}, {{1, 0, 7}}, {{1, 1.5, -1}}, {{1, math.NaN(), -1}}, {{-1, 0, -1}},
	} {
		if _, _, err := weather.Cascade(planes, 1); err == nil {
			t.Errorf("%v: taken", planes)
		}
	}
}

// Two hundred roofs with twenty openings each, sixteen hours of night: the issue asks for
// under a second on one core.
func BenchmarkNightOf200Roofs(b *testing.B) {
	f := rained(0.2, 1, 3, 4, 0, 0, 2, 1, 1, 0.5, 0, 0, 0, 3, 4, 5, 1)
	o := weather.Opening{BareM2: 12, LengthM: 9, HeightM: 0.05, FacingDeg: 180, DrainedM2: 80, RunoffShare: 1, RunoffC: 1, WindFactor: 0.8}
	for b.Loop() {
		for range 200 * 20 {
			o.Night(f, dusk, dusk.Add(16*time.Hour), weather.UsualAssumed)
		}
	}
}
