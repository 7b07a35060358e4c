package burn_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"bydark/events"
	"bydark/services/burn"
)

// The published numbers are held in services/weather's table test; here, what must hold
// for any account.
func TestForecastAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := burn.Earned{BAC: rapid.Float64Range(1, 1e6).Draw(t, "bac"), EV: rapid.Float64Range(1, 1e6).Draw(t, "ev"), AC: rapid.Float64Range(1, 1e6).Draw(t, "ac")}
		f, err := e.Forecast()
		if err != nil {
			t.Fatal(err)
		}
		same := func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(a)) }
		if !same(f.EAC, e.AC+f.ETC) || !same(f.VAC, e.BAC-f.EAC) || (f.CPI < 1) != (f.VAC < 0) && !same(f.CPI, 1) {
			t.Fatalf("%+v of %+v", f, e)
		}
		if e.AC >= e.BAC && !math.IsInf(f.TCPI, 1) {
			t.Fatalf("the budget is gone and TCPI is %g", f.TCPI)
		}
	})
}

func TestForecastRefuses(t *testing.T) {
	for _, e := range []burn.Earned{{0, 1, 1}, {1, 0, 1}, {1, 1, 0}, {-1, 1, 1}, {math.NaN(), 1, 1}, {1, math.Inf(1), 1}} {
		if f, err := e.Forecast(); events.RefusalIn(err) == nil {
			t.Errorf("%+v: %+v, %v", e, f, err)
		}
	}
}

// A steady use needs no safety stock; every doubt adds to it.
func TestSafetyStock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string) float64 { return rapid.Float64Range(0, 100).Draw(t, name) }
		z, rate, sd, lead, lsd := f("z"), f("rate"), f("sd"), f("lead"), f("lead sd")
		if s := burn.SafetyStock(z, rate, 0, lead, 0); s != 0 {
			t.Fatalf("no spread and %g in stock", s)
		}
		both := burn.SafetyStock(z, rate, sd, lead, lsd)
		if both < burn.SafetyStock(z, rate, sd, lead, 0)-1e-9 || both < burn.SafetyStock(z, rate, 0, lead, lsd)-1e-9 {
			t.Fatalf("two doubts need less than one: %g", both)
		}
	})
}
