package watch

import (
	"math"
	"slices"
	"time"

	"bydark/events"
	"bydark/services/access"
)

// Rules are when warnings are told. The figures of Usual are house defaults.
type Rules struct {
	// Before are the set times before leave-by, the longest first.
	Before []time.Duration
	// From is how many litres in a night are warned of, Below how few end the warning:
	// a value that wavers between them changes nothing.
	From, Below float64
	// Change is the factor by which a new forecast must raise or lower the litres to be
	// told again, and Gap the least time between two warnings of one night.
	Change float64
	Gap    time.Duration
	// Higher is how long after a missed deadline was told it goes up one more role.
	Higher time.Duration
	// Notice is how long before the last moment to start covering that moment is told,
	// so that whoever reads it can still begin; Moves is by how much it must move to be
	// told again.
	Notice, Moves time.Duration
	// QuietFrom and QuietTo are the hours of the site's clock between which only a
	// missed deadline and its end, a severe alert, and to a crew on the roof its last
	// moment to cover are told.
	QuietFrom, QuietTo int
}

// Usual are the rules as they come.
func Usual() Rules {
	return Rules{
		Before: []time.Duration{4 * time.Hour, time.Hour}, From: 10, Below: 5, Change: 1.5, Gap: 30 * time.Minute,
		Higher: 2 * time.Hour, Notice: 20 * time.Minute, Moves: 30 * time.Minute, QuietFrom: 21, QuietTo: 6,
	}
}

// ladder is who is told, each missed deadline one higher.
var ladder = []events.Role{access.Lead, access.Manager, access.Owner}

// Decision is what is to be told now: Warn or Clear, or neither. Again is when to look
// again if nothing changes; zero when only a change can make a difference.
type Decision struct {
	Warn  *events.ExposureWarned
	Clear *events.ExposureCleared
	Again time.Time
}

// Decide says what is to be told of a roof's night at a moment. Told holds roles only;
// who holds them is the caller's to fill in. It is pure: what was told before comes in
// with the standing, so that a restart tells nothing twice.
func Decide(r Rules, o Outlook, s Standing, now time.Time) Decision {
	c := call{Rules: r, Outlook: o, Standing: s, now: now}
	c.recall()
	if fresh := c.untold(); len(fresh) > 0 {
		return c.alarm(fresh)
	}
	if len(o.Open) == 0 && !c.seeps() {
		return c.closed()
	}
	if !now.Before(o.Dark) {
		if d, done := c.dark(); done {
			return d
		}
	}
	if d, done := c.cover(); done {
		return d
	}
	if end, quiet := c.quiet(); quiet {
		return Decision{Again: end}
	}
	return c.water()
}

// call is one decision in the making.
type call struct {
	Rules
	Outlook
	Standing
	now time.Time
	// last is the last warning of this night and lastAt when it was told; active that it
	// was not taken back. missed is how many missed deadlines were told, missedAt when
	// the last was, overdue that it stands; told who was told at all.
	last     *events.ExposureWarned
	lastAt   time.Time
	active   bool
	missed   int
	missedAt time.Time
	overdue  bool
	told     []events.Role
	// covers are the last moments to start covering that were told and not taken back,
	// coverAt when the last was told; alerts are the alerts that were told; clearedAt is
	// when a warning was taken back last.
	covers    []time.Time
	coverAt   time.Time
	alerts    []toldAlert
	clearedAt time.Time
}

// recall reads what was told of this night.
func (c *call) recall() {
	for _, e := range c.Warnings {
		switch b := e.Body.(type) {
		case events.ExposureWarned:
			if b.Night != c.night() {
				continue
			}
			c.last, c.lastAt, c.active = &b, e.At, true
			switch b.Cause {
			case events.Missed:
				c.missed, c.missedAt, c.overdue = c.missed+1, e.At, true
			case events.Cover:
				c.covers, c.coverAt = append(c.covers, b.CoverBy), e.At
			}
			for _, a := range b.Alerts {
				c.alerts = append(c.alerts, toldAlert{a, e.At})
			}
			for _, t := range b.Told {
				if !slices.Contains(c.told, t.Role) {
					c.told = append(c.told, t.Role)
				}
			}
		case events.ExposureCleared:
			if b.Night == c.night() {
				c.lastAt, c.clearedAt, c.active, c.overdue, c.covers = e.At, e.At, false, false, nil
			}
		}
	}
}

// closed ends what was warned of: nothing is open, and no alert threatens what is loose.
func (c *call) closed() Decision {
	if !c.active || len(c.threats()) > 0 {
		return Decision{Again: c.next()}
	}
	if end, quiet := c.quiet(); quiet && !c.overdue {
		return Decision{Again: end}
	}
	switch {
	case c.onlyCovers():
		return c.clear("Nothing is open, nor lets water in under a cover any more.")
	case len(c.last.Open) == 0:
		return c.clear("Nothing is open, and no alert that was told threatens the roof any more." + c.stillPast())
	}
	return c.clear("Nothing is open any more; it was " + list(c.last.Open) + "." + c.stillPast())
}

// dark decides by the deadline: what is open and accepted by nobody goes up one role,
// and one more when that did not help. True when that is all there is to decide.
func (c *call) dark() (Decision, bool) {
	nobodys := c.nobodys()
	if len(nobodys) == 0 {
		if c.active && c.overdue {
			return c.clear(c.acceptedWords()), true
		}
		return Decision{}, false
	}
	if c.missed+1 >= len(ladder) {
		return Decision{}, false
	}
	if due := c.missedAt.Add(c.Higher); c.missed > 0 && c.now.Before(due) {
		return Decision{Again: due}, true
	}
	return c.warn(events.Missed, ladder[c.missed+1], nobodys, litres(nobodys), c.missedWords(nobodys)), true
}

// nobodys is what is open by nobody's word.
func (c *call) nobodys() []Place {
	return c.unaccepted(c.Open)
}

// unaccepted are those of places that nobody accepted.
func (c *call) unaccepted(places []Place) []Place {
	var all []Place
	for _, p := range places {
		if !slices.Contains(c.Accepted, p.Where) && !slices.Contains(c.Accepted, events.WholeRoof) {
			all = append(all, p)
		}
	}
	return all
}

// water decides by the litres that get in. What somebody has accepted is told again
// only when a forecast came after that and makes it another night.
func (c *call) water() Decision {
	counted := c.counted(c.Standing, c.now)
	open, sum := litres(counted), c.sum()
	first := c.LeaveBy.Add(-c.Before[0])
	openAccepted := len(c.nobodys()) == 0
	accepted := openAccepted && len(c.unaccepted(c.Under)) == 0
	news := c.Forecast != 0 && (c.last == nil || c.last.Forecast != c.Forecast) && (!accepted || c.ForecastAt.After(c.AcceptedAt))
	rested := !c.now.Before(c.lastAt.Add(c.Gap))
	// Once the last moment to cover was told, all that is open is at stake, whatever the
	// plan still means to close.
	stake, covering := sum, c.active && len(c.covers) > 0
	if covering {
		stake = litres(c.Open) + litres(c.Under)
	}
	switch {
	case c.active && c.overdue:
		return Decision{} // the deadline stands until somebody closes or accepts
	case covering && openAccepted, c.active && c.onlyCovers() && accepted && c.AcceptedAt.After(c.lastAt):
		return c.clear(c.acceptedWords())
	case c.active && stake < c.Below && len(c.threats()) > 0:
		return Decision{Again: c.next()} // an alert that was told stands while it is in force
	case c.active && stake < c.Below:
		return c.clear(c.betterWords(stake))
	case c.active && !openAccepted && c.setHour() && open >= c.Below:
		return c.warn(events.Hours, ladder[0], counted, sum, c.waterWords(counted))
	case c.active && news && c.changed(sum):
		if rested {
			return c.warn(events.Forecast, ladder[0], counted, sum, c.waterWords(counted))
		}
		return Decision{Again: c.lastAt.Add(c.Gap)}
	case c.active || sum < c.From:
		return Decision{Again: c.next()}
	case !rested:
		return Decision{Again: c.lastAt.Add(c.Gap)}
	case news && c.today(c.ForecastAt) && (accepted || c.last != nil || c.Crew && c.now.Before(first) && open >= c.From):
		return c.warn(events.Forecast, ladder[0], counted, sum, c.waterWords(counted))
	case !openAccepted && open >= c.From && !c.now.Before(first) && c.now.Before(c.Dark), c.pastDue():
		return c.warn(events.Hours, ladder[0], counted, sum, c.waterWords(counted))
	}
	return Decision{Again: c.next()}
}

// setHour tells whether a set time has come since the last warning.
func (c *call) setHour() bool {
	for _, before := range c.Before {
		if at := c.LeaveBy.Add(-before); c.lastAt.Before(at) && !c.now.Before(at) && c.now.Before(c.LeaveBy) {
			return true
		}
	}
	return false
}

// changed tells whether the litres are others than those that were told; fewer than Below are
// for taking back, not for telling.
func (c *call) changed(sum float64) bool {
	was := float64(c.last.LeftLitres)
	if was < c.Below { // a last moment or an alert was told, and next to no water
		return sum >= c.From
	}
	return sum >= was*c.Change || sum <= was/c.Change && sum >= c.Below
}

// today tells whether a moment lies in the site's day of now.
func (c *call) today(t time.Time) bool {
	return t.In(c.Zone).Format(time.DateOnly) == c.now.In(c.Zone).Format(time.DateOnly)
}

// next is the next set time, the last moment to start covering, or dark.
func (c *call) next() time.Time {
	times := []time.Time{c.LeaveBy, c.Dark}
	for _, before := range c.Before {
		times = append(times, c.LeaveBy.Add(-before))
	}
	if !c.CoverBy.IsZero() {
		times = append(times, c.CoverBy.Add(-c.Notice), c.coverAt.Add(c.Gap))
	}
	var next time.Time
	for _, at := range times {
		if at.After(c.now) && (next.IsZero() || at.Before(next)) {
			next = at
		}
	}
	return next
}

// quiet tells whether it is a quiet hour, and when quiet ends.
func (c *call) quiet() (time.Time, bool) {
	local := c.now.In(c.Zone)
	y, m, d := local.Date()
	switch hour := local.Hour(); {
	case hour >= c.QuietFrom:
		return time.Date(y, m, d+1, c.QuietTo, 0, 0, 0, c.Zone), true
	case hour < c.QuietTo:
		return time.Date(y, m, d, c.QuietTo, 0, 0, 0, c.Zone), true
	}
	return time.Time{}, false
}

// warn tells one role; alerts that are worth a word are told with whatever is told.
// The litres are those of what is left.
func (c *call) warn(cause events.Cause, role events.Role, left []Place, sum float64, why string) Decision {
	var alerts []events.Alert
	for _, a := range c.alertsFrom(severities["Moderate"]) {
		alerts = append(alerts, a.Alert)
	}
	if len(alerts) > 0 && cause != events.Alarm {
		why += " The weather service warns of " + c.alertWords(alerts) + "."
	}
	return Decision{Again: c.next(), Warn: &events.ExposureWarned{
		Night: c.night(), Cause: cause, Told: []events.Told{{Role: role}}, Why: why, LeaveBy: c.LeaveBy, Open: marks(c.Open), Left: marks(left),
		OpenLitres: up(litres(c.Open) + litres(c.Under)), LeftLitres: up(sum), MinutesLeft: c.MinutesLeft, Forecast: c.Forecast, CoverBy: c.CoverBy, Alerts: alerts,
	}}
}

// clear tells everybody who was told.
func (c *call) clear(why string) Decision {
	cleared := &events.ExposureCleared{Night: c.night(), Why: why}
	for _, role := range c.told {
		cleared.Told = append(cleared.Told, events.Told{Role: role})
	}
	return Decision{Clear: cleared, Again: c.next()}
}

// up rounds litres up to whole ones; what floats make of a whole number stays one.
func up(litres float64) int64 { return int64(math.Ceil(litres - 1e-6)) }

// higher is who is told instead when nobody holds a role.
var higher = map[events.Role]events.Role{access.Lead: access.Manager, access.Purchasing: access.Manager, access.Manager: access.Owner}

// reached fills in who holds the roles that are told. A role that nobody holds is told
// to the next higher one as well, so that a warning always reaches somebody.
func reached(told []events.Told, held map[events.Role][]events.PersonID) []events.Told {
	var all []events.Told
	for _, t := range told {
		for role := t.Role; role != ""; role = higher[role] {
			if !slices.ContainsFunc(all, func(had events.Told) bool { return had.Role == role }) {
				all = append(all, events.Told{Role: role, People: append([]events.PersonID{}, held[role]...)})
			}
			if len(held[role]) > 0 {
				break
			}
		}
	}
	return all
}
