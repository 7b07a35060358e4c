package night_test

import (
	"testing"

	"bydark/events"
	"bydark/services/night"
	"bydark/services/weather"
)

func TestRank(t *testing.T) {
	t.Parallel()
	nights := []*night.Glance{{WeightL: 3}, {}, {WeightL: 90}, {WeightL: 3, WorstL: 1}}
	night.Rank(nights)
	for i, want := range []int{3, 0, 1, 2} {
		if nights[i].Rank != want {
			t.Errorf("roof %d ranks %d, want %d", i, nights[i].Rank, want)
		}
	}
}

// Two hundred roofs, each with a hipped L half open, ranked against a new forecast: the aim
// is under a second on one core.
func BenchmarkRank200Roofs(b *testing.B) {
	j := open(b, ell(b), "flat-clip")
	j.tell(events.DeckOpened{Where: "S"}, events.DeckOpened{Where: "NE"}, events.DeckOpened{Where: "EN"})
	j.layer("EN", "deck-check", "felt")
	j.panel("EN", 3)
	stands := night.Stands(j.State)
	storm := skies(40, func(n int, h *weather.Hour) {
		h.RainMM, h.WindMS, h.GustMS, h.WindFromDeg, h.TempC, h.DewC = weather.Known(float64(n%4)), weather.Known(6), weather.Known(14), weather.Known(200), weather.Known(5), weather.Known(4)
	})
	open := 0
	for b.Loop() {
		nights := make([]*night.Glance, 200)
		open = 0
		for i := range nights {
			w, err := night.Coming(site, night.Day{}, two)
			if err != nil {
				b.Fatal(err)
			}
			n := night.Reckon(stands, w, storm)
			g := n.Glance()
			nights[i] = &g
			for _, p := range n.Places {
				if p.WeightL > 0 {
					open++
				}
			}
		}
		night.Rank(nights)
	}
	b.ReportMetric(float64(open), "open-places")
}
