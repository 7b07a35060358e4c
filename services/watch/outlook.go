package watch

import (
	"time"

	"bydark/events"
	"bydark/services/weather"
)

// Outlook is a roof's coming night as the plan sees it at one moment.
type Outlook struct {
	// LeaveBy is when the crew has to be off the roof, Dark the end of civil dusk (or
	// LeaveBy where it does not get dark), Start when work starts again.
	LeaveBy, Dark, Start time.Time
	// Zone is the site's.
	Zone *time.Location
	// Open is what is open now, with the water that gets in there until Start if it is
	// left as it is; Left is what the plan does not close, with what gets in with the plan
	// done.
	Open, Left []Place
	// Under are the places that lie under a cover, with what comes in past it, and LeftUnder
	// the same with the plan done, those that it covers among them.
	Under, LeftUnder []Place
	MinutesLeft      int
	// CoverBy is the last moment at which putting a cover over everything that is open is
	// still done by CoverEnd: by LeaveBy, or by the rain where that is forecast to come
	// first. Zero when there is nothing to cover; it may have passed.
	CoverBy, CoverEnd time.Time
	// Alerts are the weather service's for the site, as last heard, whenever they hold.
	Alerts []weather.Alert
	// Loose are the places at which a strong wind finds something to lift.
	Loose []Loose
	// RainMM is the night's rain; in UnknownHours of its hours it is assumed, because
	// nobody forecast them.
	RainMM       float64
	UnknownHours int
	// Forecast is the forecast's place in the log and ForecastAt when it was recorded;
	// zero when there is none.
	Forecast   uint64
	ForecastAt time.Time
}

// Loose is a place at which a strong wind finds something to lift, and What that is.
type Loose struct {
	Where events.Place
	What  string
}

// Place is an open plane or edge and what gets in there in the night, in litres: what is
// expected, and what it is if it rains.
type Place struct {
	Where  events.Place
	Litres float64
	IfRain float64
	// Why is why the plan does not close it; empty for what is just open.
	Why string
}

// Standing is what the job's own events say at that moment.
type Standing struct {
	// Crew tells that a day was begun and not ended.
	Crew bool
	// Accepted are the places that somebody accepted to leave open, By whose word and
	// when.
	Accepted   []events.Place
	By         string
	AcceptedAt time.Time
	// Warnings are what was warned of and taken back so far, oldest first.
	Warnings []events.Event
}

// night is the date on which the night begins, which names it.
func (o Outlook) night() string { return o.LeaveBy.In(o.Zone).Format(time.DateOnly) }

// at is a time by the site's clocks.
func (o Outlook) at(t time.Time) string { return t.In(o.Zone).Format("15:04 MST") }

// day is a time by the site's clocks, with the day where it is not the night's first.
func (o Outlook) day(t time.Time) string {
	if t.In(o.Zone).Format(time.DateOnly) == o.night() {
		return o.at(t)
	}
	return t.In(o.Zone).Format("Mon 15:04 MST")
}

// counted are the places whose water counts: what the plan leaves while a crew can
// still follow it, else all that is open.
func (o Outlook) counted(s Standing, now time.Time) []Place {
	if s.Crew && now.Before(o.LeaveBy) {
		return o.Left
	}
	return o.Open
}

// past are the places that let water in past their covers, counted like the open ones.
func (o Outlook) past(s Standing, now time.Time) []Place {
	if s.Crew && now.Before(o.LeaveBy) {
		return o.LeftUnder
	}
	return o.Under
}

func litres(places []Place) float64 {
	sum := 0.0
	for _, p := range places {
		sum += p.Litres
	}
	return sum
}

func ifRain(places []Place) float64 {
	sum := 0.0
	for _, p := range places {
		sum += p.IfRain
	}
	return sum
}

func marks(places []Place) []events.Place {
	all := make([]events.Place, len(places))
	for i, p := range places {
		all[i] = p.Where
	}
	return all
}
