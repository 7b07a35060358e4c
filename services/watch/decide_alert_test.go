package watch

import (
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/weather"

	"github.com/google/go-cmp/cmp"
)

// recorded are alerts of a document that the weather service served (public domain, see
// testdata/weather), moved to the told evening: those of one event, to hold from one time to
// another. Hours past 24 are of the next day.
func recorded(t *testing.T, event string, sent, from, to time.Time) []weather.Alert {
	t.Helper()
	var all []weather.Alert
	for _, name := range []string{"alerts-2026-07-15", "alerts-2026-03-04", "alerts-2024-01-12-mpx"} {
		doc, err := os.ReadFile("../../testdata/weather/" + name + "/alerts.json")
		if err != nil {
			t.Fatal(err)
		}
		read, err := weather.ReadAlerts(doc)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range read {
			if a.Event == event {
				a.Sent, a.Onset, a.Expires, a.Ends = sent, from, to, to
				all = append(all, a)
			}
		}
	}
	if len(all) == 0 {
		t.Fatalf("no recorded alert is of %s", event)
	}
	return all[:1]
}

// highWind is written after the service's format: none was recorded.
func highWind(sent, from, to time.Time) []weather.Alert {
	return []weather.Alert{{
		Event: "High Wind Warning", Kind: "wind", Severity: "Severe", Certainty: "Likely", Urgency: "Expected", Status: "Actual", Message: "Alert",
		Sent: sent, Onset: from, Expires: to, Ends: to,
	}}
}

func TestAlerts(t *testing.T) {
	t.Parallel()
	crew := Standing{Crew: true}
	accepted := Standing{Accepted: marks(ab), By: "the lead", AcceptedAt: clock("16:00")}
	felt := []Loose{{"B", "400 sqft (37.2 m²) of felt"}}
	night := clock("04:00").AddDate(0, 0, 1)
	storm := func(sent string) []weather.Alert {
		return recorded(t, "Severe Thunderstorm Warning", clock(sent), clock("21:00"), clock("23:00"))
	}
	for _, c := range []struct {
		name string
		play func(*evenings)
		want []string
	}{
		{"a storm in the night and deck is open: told once, though sent again each quarter hour", func(e *evenings) {
			e.standing, e.outlook = accepted, evening(drizzle, drizzle, 1, "")
			e.standing.Accepted = marks(drizzle)
			e.walk("16:00", "17:00")
			for minute := clock("17:00"); minute.Before(clock("20:00")); minute = minute.Add(15 * time.Minute) {
				e.outlook.Alerts = storm(minute.Format("15:04"))
				e.ask(minute)
			}
		}, []string{"17:00 alert to lead+manager: 3 l"}},
		{"accepted after the alert was sent: accepted with it", func(e *evenings) {
			e.standing, e.outlook = accepted, evening(ab, ab, 1, "")
			e.outlook.Alerts = storm("15:30")
			e.walk("16:00", "19:59")
		}, nil},
		{"nothing is open and nothing is loose", func(e *evenings) {
			e.outlook = evening(nil, nil, 1, "")
			e.outlook.Alerts = slices.Concat(storm("15:30"), highWind(clock("15:00"), clock("20:00"), night))
			e.walk("16:00", "23:59")
		}, nil},
		{"a crew in the open before a storm, on a closed roof", func(e *evenings) {
			e.standing, e.outlook = crew, evening(nil, nil, 1, "")
			e.outlook.Alerts = recorded(t, "Severe Thunderstorm Warning", clock("16:10"), clock("16:10"), clock("17:00"))
			e.walk("16:10", "17:30")
		}, []string{"16:10 alert to lead+manager: 0 l", "17:00 cleared to lead+manager"}},
		{"high wind at night, told in quiet hours, over felt", func(e *evenings) {
			e.outlook = evening(nil, nil, 1, "")
			e.outlook.Loose = felt
			e.walk("20:00", "23:00")
			e.outlook.Alerts = highWind(clock("23:00"), clock("23:30"), night)
			e.walk("23:00", "23:59")
		}, []string{"23:00 alert to lead+manager: 0 l"}},
		{"the wind of another night", func(e *evenings) {
			e.outlook = evening(nil, nil, 1, "")
			e.outlook.Loose, e.outlook.Alerts = felt, highWind(clock("10:00"), clock("20:00").AddDate(0, 0, 1), night.AddDate(0, 0, 1))
			e.walk("10:00", "23:59")
		}, nil},
		{"a watch becomes a warning: told again; the warning goes: taken back when quiet ends", func(e *evenings) {
			e.outlook = evening(nil, nil, 1, "")
			e.outlook.Loose, e.outlook.Alerts = felt, highWind(clock("10:00"), clock("18:00"), clock("20:00"))
			e.outlook.Alerts[0].Event = "High Wind Watch"
			e.walk("10:00", "12:00")
			e.outlook.Alerts = highWind(clock("12:00"), clock("18:00"), clock("20:00"))
			e.walk("12:00", "14:00")
			e.outlook.Alerts = nil
			e.walk("14:00", "23:59")
		}, []string{"10:00 alert to lead+manager: 0 l", "12:00 alert to lead+manager: 0 l", "14:00 cleared to lead+manager"}},
		{"taken back, then sent anew", func(e *evenings) {
			e.outlook = evening(nil, nil, 1, "")
			e.outlook.Loose, e.outlook.Alerts = felt, highWind(clock("10:00"), clock("18:00"), night)
			e.walk("10:00", "11:00")
			e.outlook.Alerts = nil
			e.walk("11:00", "12:00")
			e.outlook.Alerts = highWind(clock("12:00"), clock("18:00"), night)
			e.walk("12:00", "14:00")
		}, []string{"10:00 alert to lead+manager: 0 l", "11:00 cleared to lead+manager", "12:00 alert to lead+manager: 0 l"}},
		{"it gets graver", func(e *evenings) {
			e.outlook = evening(nil, nil, 1, "")
			e.outlook.Loose, e.outlook.Alerts = felt, highWind(clock("10:00"), clock("18:00"), night)
			e.walk("10:00", "11:00")
			e.outlook.Alerts[0].Severity = "Extreme"
			e.walk("11:00", "12:00")
		}, []string{"10:00 alert to lead+manager: 0 l", "11:00 alert to lead+manager: 0 l"}},
		{"a second storm after the first", func(e *evenings) {
			e.standing, e.outlook = crew, evening(drizzle, nil, 1, "")
			e.outlook.Alerts = recorded(t, "Severe Thunderstorm Warning", clock("12:00"), clock("12:00"), clock("12:45"))
			e.walk("12:00", "12:45")
			e.outlook.Alerts = recorded(t, "Severe Thunderstorm Warning", clock("15:00"), clock("15:00"), clock("15:45"))
			e.walk("15:00", "15:45")
		}, []string{"12:00 alert to lead+manager: 0 l", "15:00 alert to lead+manager: 0 l"}},
		{"the deadline comes as well: both are told, and the deadline stands", func(e *evenings) {
			e.standing, e.outlook = crew, evening(drizzle, drizzle, 1, "")
			e.outlook.Alerts = recorded(t, "Severe Thunderstorm Warning", clock("20:00"), clock("20:00"), clock("20:40"))
			e.walk("20:00", "21:30")
		}, []string{"20:00 alert to lead+manager: 3 l", "20:01 missed to manager: 3 l"}},
		{"a closed roof with the set hours in between: the plan's water is told as ever", func(e *evenings) {
			e.standing, e.outlook = crew, evening(ab, justB, 1, "")
			e.outlook.Alerts = storm("12:00")
			e.walk("12:00", "19:00")
		}, []string{"12:00 alert to lead+manager: 20 l", "15:00 hours to lead: 20 l", "18:00 hours to lead: 20 l"}},
		{"no alert of these is for a roof", func(e *evenings) {
			e.standing, e.outlook = Standing{}, evening(drizzle, drizzle, 1, "")
			e.outlook.Loose = felt
			for _, event := range []string{"Wind Advisory", "Flood Warning", "Extreme Heat Warning", "Air Quality Alert", "Red Flag Warning", "Heat Advisory", "Special Marine Warning"} {
				e.outlook.Alerts = append(e.outlook.Alerts, recorded(t, event, clock("10:00"), clock("18:00"), night)...)
			}
			for _, void := range []func(*weather.Alert){func(a *weather.Alert) { a.Status = "Test" }, func(a *weather.Alert) { a.Status = "Exercise" }, func(a *weather.Alert) { a.Message = "Cancel" }} {
				a := highWind(clock("10:00"), clock("18:00"), night)
				void(&a[0])
				e.outlook.Alerts = append(e.outlook.Alerts, a...)
			}
			e.walk("10:00", "19:59")
		}, nil},
	} {
		e := &evenings{}
		c.play(e)
		if diff := cmp.Diff(c.want, e.told); diff != "" {
			t.Errorf("%s:\n%s", c.name, diff)
		}
	}
}

// The events that the service knows and that find deck open, one by one.
func TestWhichAlertsBringWater(t *testing.T) {
	t.Parallel()
	for event, want := range map[string]bool{
		"Severe Thunderstorm Warning": true, "Flash Flood Warning": true, "Flood Watch": true, "Hurricane Watch": true, "Ice Storm Warning": true,
		"Lake Effect Snow Warning": true, "Snow Squall Warning": true, "Flood Warning": false, "Extreme Heat Warning": false, "Fire Weather Watch": false,
	} {
		o := evening(drizzle, drizzle, 1, "")
		o.Alerts = recorded(t, event, clock("10:00"), clock("20:00"), clock("23:00"))
		d := Decide(Usual(), o, Standing{}, clock("11:00"))
		if got := d.Warn != nil; got != want || got && (d.Warn.Cause != events.Alarm || len(d.Warn.Alerts) != 1 || d.Warn.Alerts[0].Event != event) {
			t.Errorf("%s: %+v", event, d.Warn)
		}
	}
}

func TestWordsOfAlerts(t *testing.T) {
	t.Parallel()
	night := clock("04:00").AddDate(0, 0, 1)
	o := evening(ab, justB, 1, "")
	o.Loose = []Loose{{"B", "400 sqft (37.2 m²) of felt"}, {"C", "a cover"}}
	o.Alerts = highWind(clock("15:00"), clock("20:30"), night)
	say := func(at string, want string) {
		t.Helper()
		d := Decide(Usual(), o, Standing{Crew: true}, clock(at))
		if d.Warn == nil || d.Warn.Why != want {
			t.Errorf("at %s it says %+v\nwant %s", at, d.Warn, want)
		}
	}
	say("17:00", "The weather service warns of High Wind Warning (severe) from 20:30 EDT to Tue 04:00 EDT. For wind to lift: B (400 sqft (37.2 m²) of felt), C (a cover)."+
		" Open: A, ridge-1; 80 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 400 l if it rains. Close, cover and tie down before 19:00 EDT; nobody on the roof or below its edges while it lasts.")
	say("19:30", "The weather service warns of High Wind Warning (severe) from 20:30 EDT to Tue 04:00 EDT. For wind to lift: B (400 sqft (37.2 m²) of felt), C (a cover)."+
		" Open: A, ridge-1; 80 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 400 l if it rains. Leave-by has passed: nobody goes up in the dark for it, nor below the edges while it lasts; see to who and what is under the roof.")
	say("21:00", "The weather service warns of High Wind Warning (severe) from 20:30 EDT to Tue 04:00 EDT. For wind to lift: B (400 sqft (37.2 m²) of felt), C (a cover)."+
		" Open: A, ridge-1; 80 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 400 l if it rains. It is in force: nobody on the roof or below its edges until it is over.")
	// A moderate one raises nothing, but stands in what is told.
	o.Alerts = recorded(t, "Wind Advisory", clock("15:00"), clock("20:30"), night)
	d := Decide(Usual(), o, Standing{Crew: true}, clock("17:15"))
	if d.Warn == nil || d.Warn.Cause != events.Hours || !strings.HasSuffix(d.Warn.Why, "if it rains. The weather service warns of Wind Advisory (moderate) from 20:30 EDT to Tue 04:00 EDT.") {
		t.Errorf("%+v", d.Warn)
	}
}
