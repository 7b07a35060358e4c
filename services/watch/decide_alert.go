package watch

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/services/access"
	"bydark/services/weather"
)

// alarmed are who hears of an alert: whoever is on the roof, and whoever moves crews, since
// an alert is for all roofs of an area at once.
var alarmed = []events.Role{access.Lead, access.Manager}

// toldAlert is an alert that was told, and when.
type toldAlert struct {
	events.Alert
	at time.Time
}

// severities rank what the alerting protocol calls them (OASIS Common Alerting Protocol 1.2,
// severity); what is not known of ranks below all.
var severities = map[string]int{"Minor": 1, "Moderate": 2, "Severe": 3, "Extreme": 4}

// untold are the threats nobody was told of: of another sort than those told, graver, or
// after them. An alert that is sent again and again, as the service does while it holds, is
// told once; one that was sent after a warning was taken back is told anew.
func (c *call) untold() []events.Alert {
	var fresh []events.Alert
	for _, a := range c.threats() {
		known := slices.ContainsFunc(c.alerts, func(h toldAlert) bool {
			return h.Event == a.Event && severities[h.Severity] >= severities[a.Severity] && a.From.Before(h.To) && !(h.at.Before(c.clearedAt) && a.sent.After(c.clearedAt))
		})
		if !known {
			fresh = append(fresh, a.Alert)
		}
	}
	return fresh
}

// threat is an alert that can do something to the roof as it stands.
type threat struct {
	events.Alert
	sent time.Time
	lift bool // it is of wind, and something is loose
}

// threats are the severe and extreme alerts that hold until work starts again and that find
// something on this roof: a way in for water, something to lift, or a crew in the open. Those
// of one sort are one. What somebody accepted to leave open after an alert was sent, they
// accepted with it.
func (c *call) threats() []threat {
	return c.alertsFrom(severities["Severe"])
}

// alertsFrom are the alerts from a severity on that find something on this roof.
func (c *call) alertsFrom(least int) []threat {
	var all []threat
	for _, a := range c.Alerts {
		from, to := a.Holds()
		if severities[a.Severity] < least || !a.InForce(c.now, c.Start) {
			continue
		}
		brings := bringing(a)
		wet := brings.water && ifRain(c.Open) >= c.From && (len(c.nobodys()) > 0 || a.Sent.After(c.AcceptedAt))
		lift := brings.wind && len(c.Loose) > 0
		people := brings.danger && c.Crew && from.Before(c.LeaveBy) && c.now.Before(c.LeaveBy)
		if !wet && !lift && !people {
			continue
		}
		t := threat{events.Alert{Event: a.Event, Severity: a.Severity, From: from, To: to}, a.Sent, lift}
		if i := slices.IndexFunc(all, func(had threat) bool { return had.Event == t.Event }); i >= 0 {
			all[i].join(t)
			continue
		}
		all = append(all, t)
	}
	return all
}

// join makes one of two alerts of one sort, as those of neighbouring areas are.
func (t *threat) join(other threat) {
	if severities[other.Severity] > severities[t.Severity] {
		t.Severity = other.Severity
	}
	if other.From.Before(t.From) {
		t.From = other.From
	}
	if other.To.After(t.To) {
		t.To = other.To
	}
	if other.sent.After(t.sent) {
		t.sent = other.sent
	}
	t.lift = t.lift || other.lift
}

// brings is what an alert may bring to a roof: water from above, wind that lifts, danger to
// whoever is on it.
type brings struct{ water, wind, danger bool }

// bringing sorts alerts by their names. Floods count where rain makes them fast, not where
// rivers or the sea rise; cold without snow or ice does not count.
func bringing(a weather.Alert) brings {
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(a.Event, w) })
	}
	switch a.Kind {
	case "thunder":
		return brings{true, true, true}
	case "wind":
		return brings{has("Hurricane", "Tropical", "Typhoon"), true, true}
	case "winter":
		return brings{has("Snow", "Ice", "Winter Storm", "Blizzard", "Sleet", "Freezing Rain"), has("Blizzard", "Squall"), false}
	case "flood":
		return brings{has("Flash") || has("Watch") && !has("Coastal", "Lakeshore"), false, false}
	}
	return brings{}
}

// alarm tells of alerts, in quiet hours too: what they announce comes this very night, and in
// the morning it would be too late to tie down, to cover, or to see to those under the roof.
func (c *call) alarm(fresh []events.Alert) Decision {
	counted := c.counted(c.Standing, c.now)
	d := c.warn(events.Alarm, alarmed[0], counted, c.sum(), c.alarmWords(fresh))
	for _, role := range alarmed[1:] {
		d.Warn.Told = append(d.Warn.Told, events.Told{Role: role})
	}
	for _, l := range c.Loose {
		d.Warn.Loose = append(d.Warn.Loose, l.Where)
	}
	d.Again = c.now // what else is due is told at the next look
	return d
}

// alarmWords is why alerts are told.
func (c *call) alarmWords(fresh []events.Alert) string {
	var b strings.Builder
	b.WriteString("The weather service warns of " + c.alertWords(fresh) + ".")
	if len(c.Loose) > 0 {
		parts := make([]string, len(c.Loose))
		for i, l := range c.Loose {
			parts[i] = string(l.Where) + " (" + l.What + ")"
		}
		fmt.Fprintf(&b, " For wind to lift: %s.", list(parts))
	}
	if len(c.Open) > 0 {
		fmt.Fprintf(&b, " Open: %s; %s.", list(marks(c.Open)), c.wet(c.Open, c.Under))
	} else {
		b.WriteString(c.stillPast())
	}
	first := fresh[0].From
	for _, a := range fresh {
		if a.From.Before(first) {
			first = a.From
		}
	}
	by := first
	if c.LeaveBy.Before(by) {
		by = c.LeaveBy
	}
	switch {
	case !first.After(c.now):
		b.WriteString(" It is in force: nobody on the roof or below its edges until it is over.")
	case by.After(c.now):
		fmt.Fprintf(&b, " Close, cover and tie down before %s; nobody on the roof or below its edges while it lasts.", c.at(by))
	default:
		b.WriteString(" Leave-by has passed: nobody goes up in the dark for it, nor below the edges while it lasts; see to who and what is under the roof.")
	}
	return b.String()
}

// alertWords names alerts, each with its severity and while it holds.
func (c *call) alertWords(alerts []events.Alert) string {
	parts := make([]string, len(alerts))
	for i, a := range alerts {
		parts[i] = fmt.Sprintf("%s (%s) from %s to %s", a.Event, strings.ToLower(a.Severity), c.day(a.From), c.day(a.To))
	}
	return strings.Join(parts, "; ")
}
