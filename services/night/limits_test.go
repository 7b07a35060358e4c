package night_test

import (
	"math"
	"strings"
	"testing"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/weather"
)

// wet rains 1 mm in each hour of the night, two in the fifth, with a wind from the south.
func wet() night.Told {
	return skies(40, func(n int, h *weather.Hour) {
		h.RainMM, h.ChancePct, h.WindMS, h.WindFromDeg = weather.Known(1), weather.Known(100), weather.Known(9), weather.Known(180)
		if n == 25 {
			h.RainMM = weather.Known(2)
		}
	})
}

// The litres of the night are the sum of its hours and of its places, in every place and by every way
// in; the worst hour is the one with most.
func TestLitresAddUp(t *testing.T) {
	t.Parallel()
	j := open(t, `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'",
  "openings":[[["4'","4'"],["8'","4'"],["8'","6'"],["4'","6'"]]],"opening_kinds":["chimney"]},
 {"mark":"B","outline":[["0'","12'"],["16'","12'"],["16'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`, "flat-clip")
	j.tell(events.DeckOpened{Where: "A"}, events.DeckOpened{Where: "B"})
	j.layer("A", "deck-check", "membrane", "felt", "slip-sheet")
	j.panel("A", -1)
	n := j.night(wet())
	hours := make([]float64, len(n.Hours))
	places := 0.0
	for _, p := range n.Places {
		sum, most := 0.0, 0.0
		for i, h := range p.Hours {
			sum, most = sum+h.ExpectedL, math.Max(most, h.ExpectedL)
			hours[i] += h.ExpectedL
		}
		if math.Abs(sum-p.Water.ExpectedL) > 1e-9 || math.Abs(p.Expected.Total()-p.Water.ExpectedL) > 1e-9 || math.Abs(most-p.WorstL) > 1e-9 {
			t.Errorf("%s: hours %g, ways %+v, water %g, worst %g of %g", p.Where, sum, p.Expected, p.Water.ExpectedL, p.WorstL, most)
		}
		places += p.Water.ExpectedL
	}
	if places == 0 || math.Abs(places-n.Water.ExpectedL) > 1e-9 {
		t.Errorf("places %g, night %g", places, n.Water.ExpectedL)
	}
	for i, h := range n.Hours {
		if math.Abs(h.ExpectedL-hours[i]) > 1e-9 {
			t.Errorf("%s: %g, its places %g", h.Time, h.ExpectedL, hours[i])
		}
	}
	if got := n.Worst.In(newYork).Hour(); got != 1 {
		t.Errorf("the worst hour begins at %d", got)
	}
}

// A closed roof takes no water whatever the sky, and weighs nothing; an open one weighs also
// under a dry forecast, which may err.
func TestClosedAndDry(t *testing.T) {
	t.Parallel()
	j := open(t, gable, "flat-clip")
	j.tell(events.DeckOpened{Where: "A"})
	dry := j.place(j.night(skies(40, func(int, *weather.Hour) {})), "A")
	none := j.place(j.night(night.Told{}), "A")
	if dry.Water.ExpectedL != 0 || dry.Water.IfRainL != 0 || math.Abs(dry.WeightL-0.1*none.Water.ExpectedL) > 1e-9 || dry.WeightL == 0 {
		t.Errorf("under a dry forecast %+v enters and it weighs %g; without one %g enters", dry.Water, dry.WeightL, none.Water.ExpectedL)
	}
	j.finish()
	for what, told := range map[string]night.Told{"a wet night": wet(), "no forecast": {}} {
		n := j.night(told)
		for _, p := range n.Places {
			if p.State == assembly.WeatherTight && (p.Water.ExpectedL != 0 || p.Water.IfRainL != 0 || p.WeightL != 0) {
				t.Errorf("%s, %s is closed: %+v enters", what, p.Where, p.Water)
			}
		}
		if n.Water.ExpectedL != 0 || n.Water.IfRainL != 0 {
			t.Errorf("%s: %+v enters a closed roof", what, n.Water)
		}
	}
}

// Closures on half of a ridge leave the other half open, and let a tenth in where they are.
func TestHalfClosed(t *testing.T) {
	t.Parallel()
	j := open(t, gable, "flat-clip")
	for _, plane := range []events.Place{"A", "B"} {
		j.tell(events.DeckOpened{Where: plane})
		j.layer(plane, "deck-check", "felt", "slip-sheet")
		j.panel(plane, -1)
	}
	before := j.place(j.night(wet()), "ridge-1").Expected.Driven
	j.tell(events.TrimInstalled{Where: "ridge-1", Step: "closures", Amount: amount(t, "8'")})
	after := j.place(j.night(wet()), "ridge-1").Expected.Driven
	if before == 0 || math.Abs(after/before-0.55) > 1e-9 {
		t.Errorf("%g litres before, %g after", before, after)
	}
}

// Wind is cautioned from a fresh breeze on.
func TestLeastGust(t *testing.T) {
	t.Parallel()
	j := open(t, gable, "flat-clip")
	j.tell(events.DeckOpened{Where: "A"})
	j.layer("A", "deck-check", "felt")
	for mph, told := range map[float64]bool{18: false, 20: true} {
		n := j.night(skies(40, func(n int, h *weather.Hour) { h.GustMS = weather.Known(mph * weather.MSPerMPH) }))
		found := false
		for _, r := range j.place(n, "A").Reasons {
			found = found || r.Code == "wind"
		}
		if found != told {
			t.Errorf("gusts of %g mph are told: %v", mph, found)
		}
	}
}

// A plane with hips takes the figures of hip roofs: of 9/12 ASCE 7-16 has them as formulas, which
// the table lacks, where a gable has a figure.
func TestHipsTakeTheirOwnFigures(t *testing.T) {
	t.Parallel()
	doc, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	as := []byte(strings.Replace(string(doc), wind, `"wind":{"edition":"ASCE 7-16"},`+wind, 1))
	for _, c := range []struct{ roof, plane, figure string }{
		{ell(t), "S", ""}, {strings.ReplaceAll(gable, "6/12", "9/12"), "A", "30.3-2D"}, {strings.ReplaceAll(ell(t), "9/12", "6/12"), "S", "30.3-2G"},
	} {
		j := openAs(t, c.roof, as)
		j.tell(events.DeckOpened{Where: events.Place(c.plane)})
		j.layer(events.Place(c.plane), "deck-check", "felt")
		for _, st := range night.Stands(j.State) {
			if string(st.Where) == c.plane && (st.Zones == nil || st.Zones.Figure != c.figure) {
				t.Errorf("%s of %.20s: %+v, want %q", c.plane, c.roof, st.Zones, c.figure)
			}
		}
	}
}

// A chimney's faces look where the slope turns them: on a plane that falls east a south wind
// meets a side, 2 ft long, and not the head, 4 ft long.
func TestFacesTurnWithTheFall(t *testing.T) {
	t.Parallel()
	j := open(t, `{"name":"Shed","planes":[{"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":90,"eave_height":"10'",
  "openings":[[["6'","4'"],["8'","4'"],["8'","8'"],["6'","8'"]]],"opening_kinds":["chimney"]}]}`, "flat-clip")
	j.tell(events.DeckOpened{Where: "A"})
	j.layer("A", "deck-check", "membrane", "felt", "slip-sheet")
	j.panel("A", -1)
	n := j.night(wet())
	side := weather.Opening{LengthM: 2 * 0.3048 * math.Sqrt(1.25), HeightM: 1.5 * 0.0254, FacingDeg: 180, WindFactor: 1}
	want := side.Night(wet().Forecast, n.From, n.To, weather.UsualAssumed).Expected.Driven
	if got := j.place(n, "A/opening-1").Expected.Driven; want == 0 || math.Abs(got-want) > 1e-6*want {
		t.Errorf("%g litres are driven in, by hand %g", got, want)
	}
}
