package watch

import (
	"time"

	"bydark/events"
	"bydark/services/night"
	"bydark/services/roofjob"
	"bydark/services/sky"
	"bydark/services/weather"
)

// outlookOf asks the plan for a job's coming night by what was heard of the sky. Stock is
// what is at hand by material, in the material's smallest unit.
func outlookOf(s *roofjob.State, heard sky.Known, stock map[string]int64, now time.Time) (Outlook, error) {
	told := night.Told{Forecast: heard.Forecast.Forecast, Recorded: heard.Forecast.Recorded, Alerts: heard.Alerts.Alerts}
	plan, err := night.Plan(s, told, stock, nil, now)
	if err != nil {
		return Outlook{}, err
	}
	site := s.Opened().Site
	sun, err := weather.Sun(site.Lat, site.Lon, plan.Window.LeaveBy.In(plan.Window.Zone))
	if err != nil {
		return Outlook{}, err
	}
	o := Outlook{
		LeaveBy: plan.Window.LeaveBy, Dark: plan.Window.LeaveBy, Start: plan.Window.Start, Zone: plan.Window.Zone, MinutesLeft: plan.Answer.MinutesLeft,
		RainMM: plan.Night.RainMM, UnknownHours: plan.Night.UnknownHours, CoverBy: plan.Answer.CoverBy, CoverEnd: plan.Question.CoverEnd(),
		Forecast: heard.Forecast.Sequence, ForecastAt: heard.Forecast.Recorded, Alerts: plan.Alerts,
	}
	if dusk := sun.CivilDusk.At; dusk.After(o.Dark) && dusk.Before(o.Start) {
		o.Dark = dusk
	}
	closes := map[events.Place]bool{}
	where := map[string]events.Place{}
	for _, c := range plan.Question.Candidates {
		where[c.ID] = events.Place(c.Where)
	}
	for _, chosen := range plan.Answer.Chosen {
		closes[where[chosen.ID]] = true
	}
	why := map[events.Place]string{}
	for _, left := range plan.Answer.Left {
		if mark := where[left.ID]; why[mark] == "" {
			why[mark] = string(left.Why)
		}
	}
	water, after := map[events.Place]night.Water{}, map[events.Place]night.Water{}
	for i, p := range plan.Night.Places {
		water[p.Where], after[p.Where] = p.Water, plan.After.Places[i].Water
		if left := plan.After.Places[i]; left.State == roofjob.Covered && left.Water.IfRainL > 0 {
			o.LeftUnder = append(o.LeftUnder, Place{Where: p.Where, Litres: left.Water.ExpectedL, IfRain: left.Water.IfRainL})
		}
	}
	loose := map[events.Place]string{}
	for _, st := range plan.Stands {
		loose[st.Where] = st.Loose()
	}
	for _, p := range s.Places() {
		if what := loose[p.Mark]; what != "" {
			o.Loose = append(o.Loose, Loose{p.Mark, what})
		}
		place := Place{Where: p.Mark, Litres: water[p.Mark].ExpectedL, IfRain: water[p.Mark].IfRainL}
		switch {
		case p.State == roofjob.Covered && place.IfRain > 0:
			o.Under = append(o.Under, place)
		case p.IsOpen():
			o.Open = append(o.Open, place)
			if !closes[p.Mark] {
				left := after[p.Mark]
				o.Left = append(o.Left, Place{Where: p.Mark, Litres: left.ExpectedL, IfRain: left.IfRainL, Why: why[p.Mark]})
			}
		}
	}
	return o, nil
}
