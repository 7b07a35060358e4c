package night_test

import (
	"math"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/night"
	"bydark/services/weather"
)

// Two planes with bare deck, one shedding on to the other, asked every quarter of an hour
// through the afternoon: what is closed lets nothing in, what is not lets in no less than
// before, and more where the plane above is closed and does not drink its own rain any more;
// then the plan keeps out less of the roof than its jobs say.
func TestRunOnIsReckonedAfterThePlan(t *testing.T) {
	t.Parallel()
	j := open(t, broken, "flat-clip")
	j.tell(events.DeckOpened{Where: "low"}, events.DeckOpened{Where: "high"}, events.CrewPlanned{Heads: 2})
	stock := map[string]int64{}
	for _, m := range j.Assembly().Materials {
		stock[string(m.ID)] = math.MaxInt64 / 4
	}
	rain := skies(72, func(_ int, h *weather.Hour) { h.RainMM, h.ChancePct = weather.Known(1), weather.Known(100) })
	grew := 0
	for minutes := 0; minutes < 7*60; minutes += 15 {
		plan, err := night.Plan(j.State, rain, stock, nil, two.Add(time.Duration(minutes)*time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		closed, covered := map[events.Place]bool{}, map[events.Place]bool{}
		sum := 0.0
		for _, job := range plan.Answer.Chosen {
			for _, c := range plan.Question.Candidates {
				if c.ID == job.ID {
					closed[events.Place(c.Where)], covered[events.Place(c.Where)] = !c.Cover, c.Cover
					sum += c.NightL
				}
			}
		}
		for i, after := range plan.After.Places {
			before := plan.Night.Places[i]
			switch {
			case closed[after.Where] && after.WeightL != 0:
				t.Errorf("%d min: %s is closed and lets in %g l", minutes, after.Where, after.WeightL)
			case !closed[after.Where] && !covered[after.Where] && after.WeightL < before.WeightL-1e-9:
				t.Errorf("%d min: %s is left and lets in %g l instead of %g", minutes, after.Where, after.WeightL, before.WeightL)
			case !closed[after.Where] && after.WeightL > before.WeightL+1:
				grew++
				if plan.KeepsOutL() >= sum-1 {
					t.Errorf("%d min: %s lets in %g l more, and the plan keeps out %g of %g", minutes, after.Where, after.WeightL-before.WeightL, plan.KeepsOutL(), sum)
				}
			}
		}
		if len(plan.Answer.Chosen) == 0 && plan.KeepsOutL() != 0 {
			t.Errorf("%d min: nothing is done and %g l are kept out", minutes, plan.KeepsOutL())
		}
	}
	if grew == 0 {
		t.Error("no plan closed the upper plane alone")
	}
}
