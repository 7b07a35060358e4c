package facade

import (
	"context"
	"sync"
	"time"

	"bydark/events"
	"bydark/services/access"
	"bydark/services/night"
	"bydark/services/weather"
)

// almanac remembers what the board asks again and again: the clocks of zones, and the sun's times on a day at a place. Of 200 roofs on the
// board, reckoning these took half the time. Several goroutines may use one.
type almanac struct {
	mu    sync.Mutex // guards what follows
	zones map[string]*time.Location
	days  map[sunDay]weather.Daylight
}

// sunDay is a day at a place.
type sunDay struct {
	lat, lon float64
	date     string
	zone     *time.Location
}

// mostDays is how many days at places are remembered before all are forgotten.
const mostDays = 20_000

// coming is night.Coming.
func (a *almanac) coming(site events.Site, day night.Day, now time.Time) (night.Window, error) {
	zone, err := a.zone(site.Zone)
	if err != nil {
		return night.Coming(site, day, now) // which says what is wrong with it
	}
	return night.ComingIn(zone, a.sun, site, day, now)
}

// zoneOf is the zone of a roof's site.
func (s *Server) zoneOf(ctx context.Context, who access.Person, job events.JobID) (*time.Location, error) {
	site, err := s.siteOf(ctx, who, job)
	if err != nil {
		return nil, err
	}
	return s.almanac.zone(site.Zone)
}

// siteOf is where a roof stands.
func (s *Server) siteOf(ctx context.Context, who access.Person, job events.JobID) (events.Site, error) {
	site, known, err := s.Jobs.Site(ctx, who.Company, job)
	if err == nil && !known {
		err = noSuchJob(string(job))
	}
	return site, err
}

func (a *almanac) zone(name string) (*time.Location, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if zone, ok := a.zones[name]; ok {
		return zone, nil
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return nil, err
	}
	if a.zones == nil {
		a.zones = map[string]*time.Location{}
	}
	a.zones[name] = zone // there are some hundreds
	return zone, nil
}

// sun is weather.Sun. The hour of the day does not matter to it.
func (a *almanac) sun(latDeg, lonDeg float64, day time.Time) (weather.Daylight, error) {
	key := sunDay{latDeg, lonDeg, day.Format(time.DateOnly), day.Location()}
	a.mu.Lock()
	known, ok := a.days[key]
	a.mu.Unlock()
	if ok {
		return known, nil
	}
	times, err := weather.Sun(latDeg, lonDeg, day)
	if err != nil {
		return times, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.days) >= mostDays || a.days == nil {
		a.days = map[sunDay]weather.Daylight{}
	}
	a.days[key] = times
	return times, nil
}
