package roofjob

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// On simulated crews with known rates and noise the 80 % ranges hold the truth 75 to 85 % of
// the time, however few or many the reports are.
func TestRangesHoldTheTruth(t *testing.T) {
	t.Parallel()
	const seed, crews = 20260504, 6000
	t.Logf("seed %d", seed)
	g := rand.New(rand.NewPCG(seed, 1))
	for _, reports := range []int{0, 1, 3, 8, 25, 80} {
		held := 0
		for range crews {
			truth := 0.4 * g.NormFloat64()
			noise := 0.25 + 0.3*g.Float64() // of the logarithm
			var l lesson
			for range reports {
				l.hear(truth+noise*g.NormFloat64(), 1)
			}
			if p := l.pace(); p.Low <= math.Exp(truth) && math.Exp(truth) <= p.High {
				held++
			}
		}
		share := float64(held) / crews
		t.Logf("%2d reports: %.1f %%", reports, 100*share)
		if share < 0.75 || share > 0.85 {
			t.Errorf("after %d reports the ranges hold the truth %.1f %% of the time", reports, 100*share)
		}
	}
}

// Student's t against printed tables (Abramowitz and Stegun table 26.10, 90 %).
func TestStudent90(t *testing.T) {
	t.Parallel()
	for degrees, want := range map[float64]float64{6: 1.440, 8: 1.397, 10: 1.372, 20: 1.325, 60: 1.296, 120: 1.289} {
		if got := student90(degrees); math.Abs(got-want) > 0.001 {
			t.Errorf("%g degrees: %.4f, the table has %.3f", degrees, got, want)
		}
	}
}

// Stretches by hand: of the day's start, of reports sent together, of the noon that is too
// long, and of the next day.
func TestStretches(t *testing.T) {
	t.Parallel()
	day := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	at := func(minutes int) time.Time { return day.Add(time.Duration(minutes) * time.Minute) }
	next := day.Add(24 * time.Hour)
	got := stretches([]worked{
		{at: at(-60), step: "felt", given: 5}, // before any day
		{at: at(60), heads: 2, began: day, step: "felt", given: 100},
		{at: at(90), heads: 2, began: day, step: "cap", given: 30},
		{at: at(91), heads: 2, began: day, step: "foam", given: 10},
		{at: at(91 + 400), heads: 2, began: day, step: "cap", given: 30}, // too long to be work alone
		{at: next.Add(30 * time.Minute), heads: 3, began: next, step: "cap", given: 60},
		{at: next.Add(33 * time.Minute), heads: 3, began: next, step: "cap", given: 60},  // too short to be timed
		{at: next.Add(63 * time.Minute), heads: 1, began: next, step: "felt", given: 60}, // two have left
	})
	want := []struct {
		personMin float64
		step      string
	}{{120, "felt"}, {62, "foam"}, {90, "cap"}, {30, "felt"}}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, w := range want {
		if got[i].personMin != w.personMin || got[i].given["foam"] > 0 != (w.step == "foam") {
			t.Errorf("stretch %d: %+v, want %+v", i, got[i], w)
		}
	}
}
