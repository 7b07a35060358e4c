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

// The day on which to order, so that the new comes on the day on which the old is used up,
// is the one on which the stock has come down to the reorder point: played day by day.
func TestWholeDaysAgreeWithTheReorderPoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		perDay, stock, lead := rapid.IntRange(1, 50).Draw(t, "per day"), rapid.IntRange(0, 2000).Draw(t, "stock"), rapid.IntRange(0, 30).Draw(t, "lead")
		days, ok := burn.WholeDays(float64(stock), float64(perDay))
		if !ok {
			t.Fatal("the use is known")
		}
		last := -1 // the last day whose morning's stock is not below the reorder point
		for day, left := 0, stock; left >= 0; day, left = day+1, left-perDay {
			if float64(left) >= burn.ReorderPoint(float64(perDay), float64(lead), 0) {
				last = day
			}
		}
		if last >= 0 && last != days-lead || last < 0 && days >= lead {
			t.Fatalf("%d days, to order after %d; played: %d", days, days-lead, last)
		}
	})
	if _, ok := burn.WholeDays(10, 0); ok {
		t.Error("without a use there is no end")
	}
}
