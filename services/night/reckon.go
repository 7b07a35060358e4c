package night

import (
	"fmt"
	"math"
	"time"

	"bydark/services/weather"
)

// doubt is the share of a wet night's water that a plan reckons with at least, whatever the
// forecast says: a house default, since a dry forecast may err.
const doubt = 0.1

// Reckon lays a forecast over stands from the end of the day to the next start.
//
// Hours that the forecast does not reach, or whose rain it does not say, count as rain
// (weather.UsualAssumed); without any forecast that is every hour, and Assumes says so.
func Reckon(stands []Stand, w Window, told Told) Night {
	from, to := w.From(), w.Start
	n := Night{From: from.UTC(), To: to.UTC(), Places: make([]Place, 0, len(stands))}
	n.sky(w, told)
	var expected, ifRain float64
	for _, st := range stands {
		p := placeOf(st, w, told)
		for i, h := range p.Hours {
			if i == len(n.Hours) {
				n.Hours = append(n.Hours, Hour{Time: h.Time, Assumed: h.Assumed})
			}
			n.Hours[i].ExpectedL += h.ExpectedL
			n.Hours[i].IfRainL += h.IfRainL
		}
		expected += p.Water.ExpectedL
		ifRain += p.Water.IfRainL
		n.Places = append(n.Places, p)
	}
	n.Water = waterOf(expected, ifRain)
	n.Worst, n.WorstL = worst(n.Hours)
	return n
}

// worst is the hour that brings the most: by what is expected, or if it rains where nothing
// is expected at all.
func worst(hours []Hour) (at time.Time, litres float64) {
	for _, by := range []func(Hour) float64{func(h Hour) float64 { return h.ExpectedL }, func(h Hour) float64 { return h.IfRainL }} {
		for _, h := range hours {
			if v := by(h); v > litres {
				at, litres = h.Time, v
			}
		}
		if litres > 0 {
			return at, litres
		}
	}
	return time.Time{}, 0
}

// sky fills what the night is whatever the roof: rain, chance, gusts, and what it rests on.
func (n *Night) sky(w Window, told Told) {
	// A flat square metre takes in the rain itself.
	rain := weather.Opening{BareM2: 1}.Night(told.Forecast, n.From, n.To, weather.UsualAssumed)
	n.RainMM, n.ChancePct, n.UnknownHours = rain.Expected.Direct, rain.ChancePct, rain.Unknown
	gust := gustOf(told.Forecast.Hours, n.From, n.To)
	n.GustMPH, n.GustTime = gust.mph, gust.at
	span := fmt.Sprintf("from %s to %s", w.clock(n.From), w.clock(n.To))
	if !told.Given() {
		n.Assumes = fmt.Sprintf("No forecast: rain of %s in each hour %s and a wind of %.0f mph onto every opening are assumed. Give the roof a forecast.",
			rainfall(weather.UsualAssumed.RainMMH), span, weather.UsualAssumed.WindMS/weather.MSPerMPH)
		return
	}
	n.Forecast = &Heard{Kind: told.Kind, Place: told.Place, Issued: told.Issued, Recorded: told.Recorded.UTC(), AgeMin: int(max(0, w.Now.Sub(told.Recorded)) / time.Minute)}
	n.Assumes = fmt.Sprintf("The forecast heard %s has %s of rain %s, chance up to %.0f %%.", ago(w.Now.Sub(told.Recorded)), rainfall(n.RainMM), span, n.ChancePct)
	if n.UnknownHours > 0 {
		n.Assumes = fmt.Sprintf("The forecast heard %s does not say the rain of %d of the %d hours %s: rain of %s is assumed in each of them. With it, %s.",
			ago(w.Now.Sub(told.Recorded)), n.UnknownHours, len(rain.Hours), span, rainfall(weather.UsualAssumed.RainMMH), rainfall(n.RainMM))
	}
	if old := w.Now.Sub(told.Issued); !told.Issued.IsZero() && old > stale {
		n.Assumes += fmt.Sprintf(" It was issued %s and may be out of date.", ago(old))
	}
}

// stale is the age from which a forecast is called old: the service issues several a day.
const stale = 24 * time.Hour

// ago says how long ago, as people do.
func ago(d time.Duration) string {
	switch {
	case d < 0: // a past moment is looked at with what is known today
		return "after that moment"
	case d < time.Minute:
		return "just now"
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min ago", d/time.Minute)
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h ago", d/time.Hour)
	}
	return fmt.Sprintf("%d days ago", d/(24*time.Hour))
}

// placeOf reckons one place.
func placeOf(st Stand, w Window, told Told) Place {
	from, to := w.From(), w.Start
	p := Place{Where: st.Where, Kind: st.Kind, State: st.State, Reasons: []Reason{}}
	var soaked float64
	for _, way := range st.Ways {
		night := way.Night(told.Forecast, from, to, weather.UsualAssumed)
		p.Expected, p.IfRain = p.Expected.Plus(night.Expected), p.IfRain.Plus(night.IfRain)
		soaked += way.Night(weather.Forecast{}, from, to, weather.UsualAssumed).Expected.Total()
		for i, h := range night.Hours {
			if i == len(p.Hours) {
				p.Hours = append(p.Hours, Hour{Time: h.Time, Assumed: h.Assumed})
			}
			p.Hours[i].ExpectedL += h.Expected.Total()
			p.Hours[i].IfRainL += h.IfRain.Total()
		}
	}
	p.Water = waterOf(p.Expected.Total(), p.IfRain.Total())
	p.WeightL = math.Max(p.Water.ExpectedL, doubt*soaked)
	p.Worst, p.WorstL = worst(p.Hours)
	p.reasons(st, w, told)
	return p
}
