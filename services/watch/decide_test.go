package watch

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/access"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The told evening: leave-by 19:00, dark 20:00, work starts again at 07:00.
var zone = time.FixedZone("EDT", -4*3600)

func clock(hm string) time.Time {
	t, err := time.ParseInLocation("2006-01-02 15:04", "2026-05-04 "+hm, zone)
	if err != nil {
		panic(err)
	}
	return t
}

// evening is an outlook; a forecast without a time is the day before's.
func evening(open, left []Place, forecast uint64, at string) Outlook {
	unknown := 0
	if forecast == 0 {
		unknown = 12
	}
	recorded := clock("18:00").AddDate(0, 0, -1)
	if at != "" {
		recorded = clock(at)
	}
	return Outlook{
		LeaveBy: clock("19:00"), Dark: clock("20:00"), Start: clock("07:00").AddDate(0, 0, 1), Zone: zone, Open: open, Left: left, MinutesLeft: 90,
		RainMM: 6.2, UnknownHours: unknown, Forecast: forecast, ForecastAt: recorded,
	}
}

// heard is a warning in a few words: cause, roles, litres; or that it was taken back.
func heard(b events.Body) string {
	var roles []string
	of := func(told []events.Told) string {
		for _, t := range told {
			roles = append(roles, string(t.Role))
		}
		return strings.Join(roles, "+")
	}
	switch b := b.(type) {
	case events.ExposureWarned:
		return fmt.Sprintf("%s to %s: %d l", b.Cause, of(b.Told), b.LeftLitres)
	case events.ExposureCleared:
		return "cleared to " + of(b.Told)
	}
	return ""
}

// evenings walks an evening in steps and gives what was told when.
type evenings struct {
	outlook  Outlook
	standing Standing
	told     []string
}

// walk asks at every minute from one time to another, as often as the service would and
// oftener, and takes what is told down.
func (e *evenings) walk(from, to string) {
	for now := clock(from); now.Before(clock(to)); now = now.Add(time.Minute) {
		e.ask(now)
	}
}

func (e *evenings) ask(now time.Time) {
	d := Decide(Usual(), e.outlook, e.standing, now)
	if d.Warn == nil && d.Clear == nil {
		return
	}
	var body events.Body
	if d.Warn != nil {
		body = *d.Warn
	} else {
		body = *d.Clear
	}
	e.standing.Warnings = append(e.standing.Warnings, events.Event{At: now, Body: body})
	e.told = append(e.told, now.Format("15:04 ")+heard(body))
}

var (
	ab      = []Place{{"A", 60, 300, ""}, {"ridge-1", 20, 100, ""}}
	justB   = []Place{{"ridge-1", 20, 100, "not in stock"}}
	drizzle = []Place{{"ridge-1", 3, 100, ""}}
)

func TestEvenings(t *testing.T) {
	t.Parallel()
	crew := Standing{Crew: true}
	for _, c := range []struct {
		name string
		play func(*evenings)
		want []string
	}{
		{"a roof that is closed", func(e *evenings) {
			e.standing = crew
			e.outlook = evening(nil, nil, 1, "06:00")
			e.walk("06:00", "23:59")
		}, nil},
		{"the plan closes all in time, and the crew does", func(e *evenings) {
			e.standing, e.outlook = crew, evening(ab, nil, 1, "")
			e.walk("06:00", "18:50")
			e.outlook.Open = nil
			e.walk("18:50", "23:59")
		}, nil},
		{"the plan leaves a ridge: told at the set hours, and taken back when it is closed", func(e *evenings) {
			e.standing, e.outlook = crew, evening(ab, justB, 1, "")
			e.walk("07:00", "18:30")
			e.outlook.Open, e.outlook.Left = nil, nil
			e.walk("18:30", "23:59")
		}, []string{"15:00 hours to lead: 20 l", "18:00 hours to lead: 20 l", "18:30 cleared to lead"}},
		{"too little water to speak of", func(e *evenings) {
			e.standing, e.outlook = crew, evening(drizzle, drizzle, 1, "")
			e.walk("06:00", "20:00")
		}, nil},
		{"left at dark by nobody's word: one role up, and one more", func(e *evenings) {
			e.standing, e.outlook = crew, evening(drizzle, drizzle, 1, "")
			e.walk("19:30", "23:59")
		}, []string{"20:00 missed to manager: 3 l", "22:00 missed to owner: 3 l"}},
		{"left at dark, then accepted", func(e *evenings) {
			e.standing, e.outlook = crew, evening(justB, justB, 1, "")
			e.walk("19:30", "20:20")
			e.standing.Crew, e.standing.Accepted, e.standing.By, e.standing.AcceptedAt = false, marks(justB), "the lead", clock("20:15")
			e.walk("20:20", "23:59")
		}, []string{"19:30 hours to lead: 20 l", "20:00 missed to manager: 20 l", "20:20 cleared to lead+manager"}},
		{"accepted before dark", func(e *evenings) {
			e.standing, e.outlook = Standing{Accepted: marks(justB), By: "the lead", AcceptedAt: clock("16:30")}, evening(justB, justB, 1, "")
			e.walk("16:30", "23:59")
		}, nil},
		{"accepted only in part", func(e *evenings) {
			e.standing, e.outlook = Standing{Accepted: []events.Place{"A"}, By: "the lead", AcceptedAt: clock("16:30")}, evening(ab, ab, 1, "")
			e.walk("20:00", "21:00")
		}, []string{"20:00 missed to manager: 20 l"}},
		{"accepted, and a new forecast makes it another night", func(e *evenings) {
			e.standing, e.outlook = Standing{Accepted: []events.Place{events.WholeRoof}, By: "the lead", AcceptedAt: clock("16:30")}, evening(drizzle, drizzle, 1, "")
			e.walk("16:30", "17:30")
			e.outlook = evening(ab, ab, 2, "17:25")
			e.walk("17:30", "23:59")
		}, []string{"17:30 forecast to lead: 80 l"}},
		{"a new forecast in the morning, before the set hours", func(e *evenings) {
			e.standing, e.outlook = crew, evening(ab, nil, 1, "")
			e.walk("07:00", "10:00")
			e.outlook = evening(ab, justB, 2, "09:58")
			e.walk("10:00", "14:00")
			e.outlook = evening(ab, nil, 3, "13:59")
			e.walk("14:00", "14:59")
		}, []string{"10:00 forecast to lead: 20 l", "14:00 cleared to lead"}},
		{"the plan cannot close it, says a forecast of the morning", func(e *evenings) {
			e.standing, e.outlook = crew, evening(ab, justB, 1, "06:30")
			e.walk("07:00", "14:59")
		}, []string{"07:00 forecast to lead: 20 l"}},
		{"nobody is on the roof in the morning", func(e *evenings) {
			e.outlook = evening(ab, justB, 1, "06:30")
			e.walk("07:00", "14:59")
		}, nil},
		{"forecasts that waver are no storm", func(e *evenings) {
			e.standing = crew
			for i, minute := 0, clock("15:00"); minute.Before(clock("17:50")); i, minute = i+1, minute.Add(time.Minute) {
				e.outlook = evening(ab, []Place{{"ridge-1", []float64{20, 22, 18, 24}[i%4], 100, ""}}, uint64(i+1), minute.Format("15:04"))
				e.ask(minute)
			}
		}, []string{"15:00 hours to lead: 20 l"}},
		{"a forecast that gets far worse twice in half an hour is told once in it", func(e *evenings) {
			e.standing, e.outlook = crew, evening(ab, justB, 1, "")
			e.walk("15:00", "15:10")
			e.outlook = evening(ab, []Place{{"ridge-1", 50, 100, ""}}, 2, "15:10")
			e.walk("15:10", "15:20")
			e.outlook = evening(ab, []Place{{"ridge-1", 90, 100, ""}}, 3, "15:20")
			e.walk("15:20", "17:00")
		}, []string{"15:00 hours to lead: 20 l", "15:30 forecast to lead: 90 l"}},
		{"what wavers about the threshold changes nothing", func(e *evenings) {
			e.standing = crew
			for i, minute := 0, clock("15:00"); minute.Before(clock("17:50")); i, minute = i+1, minute.Add(time.Minute) {
				e.outlook = evening(ab, []Place{{"ridge-1", []float64{11, 9, 6, 10}[i%4], 100, ""}}, 1, "")
				e.ask(minute)
			}
		}, []string{"15:00 hours to lead: 11 l"}},
		{"nobody is on the roof: all that is open counts", func(e *evenings) {
			e.standing, e.outlook = Standing{}, evening(ab, nil, 1, "")
			e.walk("07:00", "17:00")
		}, []string{"15:00 hours to lead: 80 l"}},
		{"quiet hours hold back the water, not the deadline", func(e *evenings) {
			e.standing, e.outlook = crew, evening(justB, justB, 1, "")
			e.outlook.LeaveBy, e.outlook.Dark = clock("21:00"), clock("21:30")
			e.walk("16:30", "22:00")
			e.outlook = evening(ab, ab, 2, "22:00")
			e.outlook.LeaveBy, e.outlook.Dark = clock("21:00"), clock("21:30")
			e.walk("22:00", "22:30")
			e.outlook.Open = nil
			e.walk("22:30", "23:59")
		}, []string{"17:00 hours to lead: 20 l", "20:00 hours to lead: 20 l", "21:30 missed to manager: 20 l", "22:30 cleared to lead+manager"}},
	} {
		e := &evenings{}
		c.play(e)
		if diff := cmp.Diff(c.want, e.told); diff != "" {
			t.Errorf("%s:\n%s", c.name, diff)
		}
	}
}

func TestWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		o    Outlook
		s    Standing
		at   string
		want string
	}{
		{evening(ab, justB, 4, ""), Standing{Crew: true}, "17:15",
			"1 h 45 min before leave-by 19:00 EDT, 2 places are open (A, ridge-1), and in 90 minutes the plan does not close ridge-1 (not in stock): 20 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 100 l if it rains."},
		{evening(justB, justB, 0, ""), Standing{}, "18:00",
			"1 h before leave-by 19:00 EDT, 1 place is open (ridge-1), and no day is under way: 20 l would get in by 07:00 EDT with 6.2 mm of rain, assumed because there is no forecast, and 100 l if it rains."},
		{evening(justB, justB, 4, ""), Standing{}, "20:05",
			"It has been dark since 20:00 EDT and 1 place is open (ridge-1), which nobody has accepted: 20 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 100 l if it rains."},
	} {
		d := Decide(Usual(), c.o, c.s, clock(c.at))
		if d.Warn == nil || d.Warn.Why != c.want {
			t.Errorf("at %s it says %+v\nwant %s", c.at, d.Warn, c.want)
		}
	}
}

// Whatever the evening does: in a night at most the set hours, two deadlines and one
// change and one last moment to cover each half hour are told, and an alert once; nothing is taken back that was not told; quiet hours
// are kept; and asking again at once tells nothing more.
func TestNoStorm(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		e := &evenings{standing: Standing{Crew: rapid.Bool().Draw(t, "crew")}}
		forecast := uint64(0)
		active := false
		var last time.Time
		causes := map[events.Cause]int{}
		for now := clock("05:00"); now.Before(clock("23:59")); now = now.Add(time.Duration(rapid.IntRange(1, 45).Draw(t, "minutes")) * time.Minute) {
			water := rapid.Custom(func(t *rapid.T) []Place {
				var all []Place
				for _, mark := range []events.Place{"A", "ridge-1", "valley-2"} {
					if rapid.Bool().Draw(t, "is open") {
						all = append(all, Place{mark, rapid.Float64Range(0, 40).Draw(t, "litres"), 100, ""})
					}
				}
				return all
			})
			if rapid.IntRange(0, 3).Draw(t, "new forecast") == 0 {
				forecast++
			}
			open := water.Draw(t, "open")
			e.outlook = evening(open, open[:rapid.IntRange(0, len(open)).Draw(t, "left")], forecast, now.Format("15:04"))
			if rapid.Bool().Draw(t, "to cover") {
				by := now.Add(time.Duration(rapid.IntRange(-90, 90).Draw(t, "covering")) * time.Minute)
				e.outlook.CoverBy, e.outlook.CoverEnd = by, by.Add(time.Hour)
			}
			if rapid.IntRange(0, 4).Draw(t, "storm") == 0 {
				e.outlook.Alerts = highWind(now, now, now.Add(2*time.Hour))
				e.outlook.Loose = []Loose{{"B", "felt"}}
			}
			if rapid.IntRange(0, 9).Draw(t, "accepts") == 0 {
				e.standing.Accepted, e.standing.AcceptedAt, e.standing.By = marks(open), now, "somebody"
			}
			before := len(e.told)
			e.ask(now)
			e.ask(now) // what else is due beside an alert
			told := len(e.told)
			if told > before+1 && !strings.Contains(e.told[before], "alert") {
				t.Fatalf("asked twice at %s, it says %q", now, e.told[before:])
			}
			e.ask(now)
			if len(e.told) > told {
				t.Fatalf("asked again at %s, it says %q", now, e.told[before:])
			}
			if told == before {
				continue
			}
			quiet := now.Hour() >= 21 || now.Hour() < 6
			switch b := e.standing.Warnings[len(e.standing.Warnings)-1].Body.(type) {
			case events.ExposureWarned:
				causes[b.Cause]++
				if quiet && b.Cause != events.Missed && b.Cause != events.Alarm && !(b.Cause == events.Cover && e.standing.Crew) || len(b.Why) == 0 || len(b.Told) == 0 || !slices.IsSorted([]int64{0, b.LeftLitres}) {
					t.Fatalf("at %s: %+v", now, b)
				}
				if b.Cause == events.Forecast && now.Sub(last) < Usual().Gap {
					t.Fatalf("%s after the one before: %+v", now.Sub(last), b)
				}
				active = true
				if b.Cause == events.Cover && len(b.Open) == 0 {
					t.Fatalf("there is nothing to cover: %+v", b)
				}
			case events.ExposureCleared:
				if !active || len(b.Told) == 0 {
					t.Fatalf("at %s it takes back what was not told: %q", now, e.told)
				}
				active = false
			}
			last = now
		}
		// Of covering one each half hour at most; of alerts one each two hours, which is how
		// long each holds here, and one each time that a warning was taken back.
		if causes[events.Cover] > 28 || causes[events.Alarm] > 10+strings.Count(strings.Join(e.told, ";"), "cleared") || causes[events.Missed] > 2 || causes[events.Hours] > 12 {
			t.Fatalf("a storm: %q", e.told)
		}
	})
}

func TestReached(t *testing.T) {
	t.Parallel()
	held := map[events.Role][]events.PersonID{access.Owner: {"o"}, access.Lead: {"l1", "l2"}}
	got := reached([]events.Told{{Role: access.Lead}, {Role: access.Purchasing}}, held)
	want := []events.Told{
		{Role: access.Lead, People: []events.PersonID{"l1", "l2"}}, {Role: access.Purchasing, People: []events.PersonID{}},
		{Role: access.Manager, People: []events.PersonID{}}, {Role: access.Owner, People: []events.PersonID{"o"}},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
