package night_test

import (
	"encoding/json/v2"
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

// Two hundred roofs, each a hipped L, ranked against a new forecast: the aim is under a second
// on one core. Half open is as in the middle of a job; all open has every plane bare and every
// edge without its first step, and takes the new forecast as a document and the roofs' stands
// as the views keep them, JSON.
func BenchmarkRank200Roofs(b *testing.B) {
	storm := skies(40, func(n int, h *weather.Hour) {
		h.RainMM, h.WindMS, h.GustMS, h.WindFromDeg, h.TempC, h.DewC = weather.Known(float64(n%4)), weather.Known(6), weather.Known(14), weather.Known(200), weather.Known(5), weather.Known(4)
	})
	b.Run("half open", func(b *testing.B) {
		j := open(b, ell(b), "flat-clip")
		j.tell(events.DeckOpened{Where: "S"}, events.DeckOpened{Where: "NE"}, events.DeckOpened{Where: "EN"})
		j.layer("EN", "deck-check", "felt")
		j.panel("EN", 3)
		stands := night.Stands(j.State)
		places := 0
		for b.Loop() {
			places = rank(b, 200, func() []night.Stand { return stands }, storm)
		}
		b.ReportMetric(float64(places), "open-places")
	})
	b.Run("all open", func(b *testing.B) {
		j := open(b, ell(b), "flat-clip")
		for _, p := range j.Roof().Planes {
			j.tell(events.DeckOpened{Where: events.Place(p.Mark)})
			j.layer(events.Place(p.Mark), "deck-check", "felt", "slip-sheet")
			j.panel(events.Place(p.Mark), -1)
		}
		kept, err := json.Marshal(night.Stands(j.State))
		if err != nil {
			b.Fatal(err)
		}
		document, err := json.Marshal(storm.Forecast)
		if err != nil {
			b.Fatal(err)
		}
		places := 0
		for b.Loop() {
			told := storm
			if told.Forecast, err = weather.Read(document); err != nil {
				b.Fatal(err)
			}
			places = rank(b, 200, func() []night.Stand {
				var stands []night.Stand
				if err := json.Unmarshal(kept, &stands); err != nil {
					b.Fatal(err)
				}
				return stands
			}, told)
		}
		b.ReportMetric(float64(places), "open-places")
	})
}

// rank reckons and ranks so many roofs and counts the places at which water would come in.
func rank(b *testing.B, roofs int, stands func() []night.Stand, told night.Told) int {
	nights, places := make([]*night.Glance, roofs), 0
	for i := range nights {
		w, err := night.Coming(site, night.Day{}, two)
		if err != nil {
			b.Fatal(err)
		}
		n := night.Reckon(stands(), w, told)
		g := n.Glance()
		nights[i] = &g
		for _, p := range n.Places {
			if p.WeightL > 0 {
				places++
			}
		}
	}
	night.Rank(nights)
	return places
}
