package night

import (
	"fmt"
	"time"

	"bydark/events"
	"bydark/services/roofjob"
	"bydark/services/weather"
)

// Window is the end of a day on a roof and the night after it, in the site's own zone.
type Window struct {
	Now time.Time
	// LeaveBy is when the crew leaves: the earliest of civil dusk, the end of the shift
	// and what the lead set. Because says which.
	LeaveBy time.Time
	Because string
	// Start is when work begins again.
	Start time.Time
	// LightEnd is civil dusk, or the hour that stands for it where there is none; ShiftEnd
	// the end of the shift under way, and LeadSet when its lead wants everybody off the
	// roof, zero where there is none. LeaveBy is the earliest of them.
	LightEnd, ShiftEnd, LeadSet time.Time
	// Heads are on the roof, or planned for it.
	Heads int
	// HeadsWhy says how many they are known to be.
	HeadsWhy string
	Zone     *time.Location
}

const (
	// morning is the hour at which work begins again, and lightless the hour at which the
	// crew leaves where the sun does not set that day: house defaults.
	morning, lightless = 7, 20
	// assumedHeads is the crew of a job for which nobody planned any.
	assumedHeads = 3
)

// From is when the night begins for a roof that is looked at now.
func (w Window) From() time.Time {
	if w.Now.After(w.LeaveBy) {
		return w.Now
	}
	return w.LeaveBy
}

// Day is what is known of the crew's day on a roof.
type Day struct {
	Planned int                // heads planned; zero when nobody said
	Today   *events.DayStarted // the day under way; nil when none is
	Began   time.Time
}

// DayOf is the day of a job.
func DayOf(s *roofjob.State) Day {
	d := Day{Planned: s.PlannedHeads()}
	d.Today, d.Began = s.Day()
	return d
}

// Coming is the window that lies ahead at a site: today's end and the night after it, or
// before the morning the night under way. A zone that is not known is an error; places off
// the globe are refused as weather.Sun does.
func Coming(site events.Site, day Day, now time.Time) (Window, error) {
	zone, err := time.LoadLocation(site.Zone)
	if err != nil {
		return Window{}, fmt.Errorf("zone of the site: %w", err)
	}
	return ComingIn(zone, weather.Sun, site, day, now)
}

// ComingIn is Coming for who knows the site's zone, and has weather.Sun or remembers what it gave.
func ComingIn(zone *time.Location, sunOf func(latDeg, lonDeg float64, day time.Time) (weather.Daylight, error), site events.Site, day Day, now time.Time) (Window, error) {
	local := now.In(zone)
	date := local
	started := day.Today != nil && now.Sub(day.Began) < 24*time.Hour && !day.Began.After(now)
	if local.Hour() < morning && !(started && sameDay(day.Began.In(zone), local)) {
		date = time.Date(local.Year(), local.Month(), local.Day()-1, 12, 0, 0, 0, zone)
	}
	at := func(days, hour int) time.Time {
		return time.Date(date.Year(), date.Month(), date.Day()+days, hour, 0, 0, 0, zone)
	}
	sun, err := sunOf(site.Lat, site.Lon, at(0, 12))
	if err != nil {
		return Window{}, err
	}
	w := Window{Now: now, LeaveBy: at(0, lightless), Because: fmt.Sprintf("%d:00, since it does not get dark", lightless), Start: at(1, morning), Heads: assumedHeads, HeadsWhy: "assumed: nobody has said how many", Zone: zone}
	if sun.CivilDusk.Never == weather.StaysBelow {
		w.Because = fmt.Sprintf("%d:00, since the sun does not rise: work by lamps", lightless)
	}
	if dusk := sun.CivilDusk.At; !dusk.IsZero() {
		w.LeaveBy, w.Because = dusk.Truncate(time.Minute), "civil dusk"
		if !dusk.Before(w.Start) {
			w.LeaveBy, w.Because = at(0, lightless), fmt.Sprintf("%d:00, since it does not get dark before midnight", lightless)
		}
	}
	w.LightEnd = w.LeaveBy
	if day.Planned > 0 {
		w.Heads, w.HeadsWhy = day.Planned, "as planned"
	}
	if started && sameDay(day.Began.In(zone), date) {
		w.Heads, w.HeadsWhy, w.ShiftEnd, w.LeadSet = day.Today.Heads, "as the day was started", day.Today.ShiftEnd, day.Today.LeaveBy
		if end := w.ShiftEnd; end.Before(w.LeaveBy) {
			w.LeaveBy, w.Because = end.In(zone), "the end of the shift"
		}
		if set := w.LeadSet; !set.IsZero() && set.Before(w.LeaveBy) {
			w.LeaveBy, w.Because = set.In(zone), "what the lead set"
		}
	}
	return w, nil
}

func sameDay(a, b time.Time) bool { return a.YearDay() == b.YearDay() && a.Year() == b.Year() }

// clock shows a time of the window by the site's clocks.
func (w Window) clock(t time.Time) string {
	t = t.In(w.Zone)
	if sameDay(t, w.Now.In(w.Zone)) {
		return t.Format("15:04")
	}
	return t.Format("Mon 15:04")
}
