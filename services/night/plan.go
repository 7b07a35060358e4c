package night

import (
	"math"
	"slices"
	"time"

	"bydark/events"
	"bydark/services/roof"
	"bydark/services/roofjob"
	"bydark/services/tonight"
	"bydark/services/weather"
)

// Tonight is a roof's coming night and what to close before it.
type Tonight struct {
	Window   Window
	Stands   []Stand
	Night    Night
	Question tonight.Question
	Answer   tonight.Answer
	// After is the night as it will be once the plan is done: water that a closed plane no
	// longer takes in runs on to what lies below.
	After Night
	// RainStart is when it begins to rain before the crew leaves; zero when it stays dry.
	// Question.RainAssumed tells that nobody forecast that.
	RainStart time.Time
	Cautions  []weather.Caution
	// Alerts are the weather service's that are for the site, whenever they hold.
	Alerts []weather.Alert

	paces map[events.StepID]float64
}

// Plan reckons a job's coming night and plans what to close before it. Stock is what is at
// hand by material, in the material's smallest unit; paces are the crew's own, by step,
// beside the given rates, nil for those that the job's reports teach.
func Plan(state *roofjob.State, told Told, stock map[string]int64, paces map[events.StepID]float64, now time.Time) (Tonight, error) {
	w, err := Coming(state.Opened().Site, DayOf(state), now)
	if err != nil {
		return Tonight{}, err
	}
	if paces == nil {
		paces = roofjob.TimesOf(state.Paces())
	}
	stands := Stands(state)
	t := Tonight{Window: w, Stands: stands, Night: Reckon(stands, w, told), paces: paces}
	t.Question = tonight.Question{Now: now.Truncate(time.Minute), LeaveBy: w.LeaveBy, Heads: w.Heads, Stock: stock}
	t.RainStart, t.Question.RainAssumed = rainBefore(told, now, w.LeaveBy)
	t.Question.RainStart = t.RainStart
	water := map[events.Place]roofjob.Water{}
	for i, p := range t.Night.Places {
		water[p.Where] = roofjob.Water{NightL: p.WeightL, DripLH: dripLH(stands[i], told, t.RainStart, w.LeaveBy)}
	}
	t.Question.Candidates = state.Closing(w.Heads, paces, func(p roofjob.Place) roofjob.Water { return water[p.Mark] })
	if t.Answer, err = tonight.Plan(t.Question); err != nil {
		return Tonight{}, err
	}
	site := state.Opened().Site
	t.Alerts = weather.AlertsAt(told.Alerts, site.Lat, site.Lon)
	t.After = Reckon(standsAfter(state, t.done()), w, told)
	t.Cautions = slices.Concat(weather.AlertCautions(t.Alerts, now, w.Start), weather.Cautions(told.Forecast.Hours, now, w.Start, highestFt(state.Roof())))
	return t, nil
}

// done is what the plan does at each place.
func (t Tonight) done() done {
	places := done{}
	for _, job := range t.Answer.Chosen {
		for _, c := range t.Question.Candidates {
			if c.ID == job.ID {
				places[events.Place(c.Where)] = !c.Cover
			}
		}
	}
	return places
}

// KeepsOutL is what the plan keeps out of the whole roof, as the night is weighed: less than
// its jobs each by themselves where water that one keeps out goes in further down.
func (t Tonight) KeepsOutL() float64 {
	sum := 0.0
	for i, p := range t.Night.Places {
		sum += p.WeightL - t.After.Places[i].WeightL
	}
	return sum
}

// rainBefore tells when it begins to rain between now and leaving, and whether that is
// assumed, since nobody forecast the hour.
func rainBefore(told Told, now, leave time.Time) (begins time.Time, assumed bool) {
	rain := weather.Opening{BareM2: 1}.Night(told.Forecast, now, leave, weather.UsualAssumed)
	for _, h := range rain.Hours {
		if h.Expected.Total() > 0 {
			if h.Time.Before(now) {
				return now, h.Assumed
			}
			return h.Time, h.Assumed
		}
	}
	return time.Time{}, false
}

// dripLH is what enters a place in each hour of rain before leaving, in the mean.
func dripLH(st Stand, told Told, begins, leave time.Time) float64 {
	hours := leave.Sub(begins).Hours()
	if begins.IsZero() || hours <= 0 {
		return 0
	}
	sum := 0.0
	for _, way := range st.Ways {
		sum += way.Night(told.Forecast, begins, leave, weather.UsualAssumed).Expected.Total()
	}
	return sum / hours
}

// highestFt is the height of a roof's highest edge above the ground; NaN where nobody gave it,
// since a roof whose eave lies on the ground is drawn without its height.
func highestFt(r *roof.Roof) float64 {
	feet, lowest := 0.0, math.Inf(1)
	for i := range r.Planes {
		lowest = min(lowest, r.Planes[i].EaveHeight.Feet())
		for _, at := range r.Planes[i].Outline {
			feet = max(feet, r.Planes[i].Height(at).Feet())
		}
	}
	if lowest <= 0 && feet < weather.FallHeightFt {
		return math.NaN()
	}
	return feet
}
