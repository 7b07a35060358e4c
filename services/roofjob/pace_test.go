package roofjob

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// noises are kinds of scatter of the logarithm of a report's time round the crew's own, of mean
// zero and a spread near the one asked for.
var noises = []struct {
	name string
	of   func(g *rand.Rand, spread float64) float64
}{
	{"normal", func(g *rand.Rand, spread float64) float64 { return spread * g.NormFloat64() }},
	{"flat", func(g *rand.Rand, spread float64) float64 { return spread * math.Sqrt(12) * (g.Float64() - 0.5) }},
	// Most days as ever, one in ten with three times the scatter.
	{"with bad days", func(g *rand.Rand, spread float64) float64 {
		if g.Float64() < 0.1 {
			spread *= 3
		}
		return spread / math.Sqrt(0.9+0.1*9) * g.NormFloat64()
	}},
	// Now and then much longer, never much shorter: an exponential less its mean.
	{"held up", func(g *rand.Rand, spread float64) float64 { return spread * (g.ExpFloat64() - 1) }},
	// As people report: two hours' work told in quarters of an hour.
	{"told to the quarter hour", func(g *rand.Rand, spread float64) float64 {
		took := 120 * math.Exp(spread*g.NormFloat64())
		return math.Log(math.Max(15, 15*math.Round(took/15)) / 120)
	}},
}

// On simulated crews with known rates and noise the 80 % ranges hold the truth 75 to 85 % of
// the time, however few or many the reports are, over several seeds and kinds of noise.
func TestRangesHoldTheTruth(t *testing.T) {
	t.Parallel()
	const crews = 1500
	for _, noise := range noises {
		for _, reports := range []int{0, 1, 3, 8, 25, 80} {
			held, all := 0, 0
			for seed := uint64(20260504); seed < 20260504+6; seed++ {
				g := rand.New(rand.NewPCG(seed, uint64(reports)))
				one := 0
				for range crews {
					truth := 0.4 * g.NormFloat64()
					spread := 0.25 + 0.3*g.Float64()
					var l lesson
					for range reports {
						l.hear(truth+noise.of(g, spread), 1)
					}
					if p := l.pace(); p.Low <= math.Exp(truth) && math.Exp(truth) <= p.High {
						one++
					}
				}
				// Four standard deviations of a share of 1,500 are 4 %.
				if share := float64(one) / crews; share < 0.71 || share > 0.89 {
					t.Errorf("%s, seed %d: after %d reports the ranges hold the truth %.1f %% of the time", noise.name, seed, reports, 100*share)
				}
				held, all = held+one, all+crews
			}
			share := float64(held) / float64(all)
			t.Logf("%s: %2d reports: %.1f %% of %d", noise.name, reports, 100*share, all)
			if share < 0.75 || share > 0.85 {
				t.Errorf("%s: after %d reports the ranges hold the truth %.1f %% of the time", noise.name, reports, 100*share)
			}
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
	var got []stretch
	var heard timing
	hear := func(st stretch, ok bool) {
		if ok {
			got = append(got, st)
		}
	}
	for _, w := range []worked{
		{at: at(-60), step: "felt", given: 5}, // before any day
		{at: at(60), heads: 2, began: day, step: "felt", given: 100},
		{at: at(90), heads: 2, began: day, step: "cap", given: 30},
		{at: at(91), heads: 2, began: day, step: "foam", given: 10},
		{at: at(91 + 400), heads: 2, began: day, step: "cap", given: 30}, // too long to be work alone
		{at: next.Add(30 * time.Minute), heads: 3, began: next, step: "cap", given: 60},
		{at: next.Add(33 * time.Minute), heads: 3, began: next, step: "cap", given: 60},  // too short to be timed
		{at: next.Add(63 * time.Minute), heads: 1, began: next, step: "felt", given: 60}, // two have left
	} {
		hear(heard.part(w))
	}
	hear(heard.end())
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
