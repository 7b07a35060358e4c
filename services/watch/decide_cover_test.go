package watch

import (
	"strings"
	"testing"
	"time"

	"bydark/events"

	"github.com/google/go-cmp/cmp"
)

// coverable is an evening on which covering what is open must begin at a time to be done by
// an end.
func coverable(open, left []Place, by, end string) Outlook {
	o := evening(open, left, 1, "")
	o.CoverBy, o.CoverEnd = clock(by), clock(end)
	return o
}

func TestLastMomentToCover(t *testing.T) {
	t.Parallel()
	crew := Standing{Crew: true}
	a := []Place{{"A", 60, 300, ""}}
	for _, c := range []struct {
		name string
		play func(*evenings)
		want []string
	}{
		{"told once, twenty minutes before, though the plan closes all", func(e *evenings) {
			e.standing, e.outlook = crew, coverable(a, nil, "18:10", "19:00")
			e.walk("07:00", "19:00")
		}, []string{"17:50 cover to lead: 0 l"}},
		{"closed in time: not told", func(e *evenings) {
			e.standing, e.outlook = crew, coverable(a, nil, "18:10", "19:00")
			e.walk("07:00", "17:49")
			e.outlook = coverable(nil, nil, "18:10", "19:00")
			e.walk("17:49", "23:59")
		}, nil},
		{"closed after it was told: taken back", func(e *evenings) {
			e.standing, e.outlook = crew, coverable(a, nil, "18:10", "19:00")
			e.walk("17:00", "18:30")
			e.outlook = evening(nil, nil, 1, "")
			e.walk("18:30", "23:59")
		}, []string{"17:50 cover to lead: 0 l", "18:30 cleared to lead"}},
		{"accepted before: not told; accepted after: taken back", func(e *evenings) {
			e.outlook = coverable(a, nil, "18:10", "19:00")
			e.standing = Standing{Crew: true, Accepted: marks(a), By: "the lead", AcceptedAt: clock("16:00")}
			e.walk("17:00", "18:00")
			e.standing.Accepted = nil
			e.walk("18:00", "18:05")
			e.standing.Crew, e.standing.Accepted, e.standing.AcceptedAt = false, marks(a), clock("18:05")
			e.walk("18:05", "23:59")
		}, []string{"18:00 cover to lead: 0 l", "18:05 cleared to lead"}},
		{"too little water to speak of", func(e *evenings) {
			e.standing, e.outlook = crew, coverable(drizzle, nil, "18:10", "19:00")
			e.walk("07:00", "19:00")
		}, nil},
		{"a new forecast ends it, and what wavers about the thresholds changes nothing", func(e *evenings) {
			e.standing = crew
			for i, minute := 0, clock("17:00"); minute.Before(clock("18:30")); i, minute = i+1, minute.Add(time.Minute) {
				e.outlook = coverable([]Place{{"A", []float64{11, 9, 6, 10}[i%4], 300, ""}}, nil, "18:10", "19:00")
				e.ask(minute)
			}
			e.outlook = coverable([]Place{{"A", 4, 300, ""}}, nil, "18:10", "19:00")
			e.walk("18:30", "19:00")
		}, []string{"17:51 cover to lead: 0 l", "18:30 cleared to lead"}},
		{"rain brings it forward by much: told again at once; by little: not", func(e *evenings) {
			e.standing, e.outlook = crew, coverable(a, nil, "17:10", "19:00")
			e.walk("16:00", "17:00")
			e.outlook = coverable(a, nil, "16:50", "18:40")
			e.walk("17:00", "17:05")
			e.outlook = coverable(a, nil, "15:50", "17:40")
			e.walk("17:05", "17:40")
		}, []string{"16:50 cover to lead: 0 l", "17:05 cover to lead: 0 l"}},
		{"half is closed and it comes later by much: told when it is near", func(e *evenings) {
			e.standing, e.outlook = crew, coverable(a, nil, "16:30", "19:00")
			e.walk("16:00", "16:40")
			e.outlook = coverable(a, nil, "18:10", "19:00")
			e.walk("16:40", "19:00")
		}, []string{"16:10 cover to lead: 0 l", "17:50 cover to lead: 0 l"}},
		{"a moment that wavers is no storm, and the earlier stands", func(e *evenings) {
			e.standing = crew
			for i, minute := 0, clock("15:00"); minute.Before(clock("18:00")); i, minute = i+1, minute.Add(time.Minute) {
				e.outlook = coverable(a, nil, []string{"15:10", "15:50"}[i/20%2], "19:00")
				e.ask(minute)
			}
		}, []string{"15:00 cover to lead: 0 l", "15:30 cover to lead: 0 l", "15:40 cover to lead: 0 l"}},
		{"it rains already: it falls behind with the clock and is told once", func(e *evenings) {
			e.standing = crew
			for minute := clock("10:00"); minute.Before(clock("14:00")); minute = minute.Add(time.Minute) {
				e.outlook = coverable(a, nil, minute.Add(-57*time.Minute).Format("15:04"), minute.Format("15:04"))
				e.ask(minute)
			}
		}, []string{"10:00 cover to lead: 0 l"}},
		{"quiet hours: a crew at work hears it, nobody else does", func(e *evenings) {
			for _, s := range []Standing{{}, crew} {
				e.standing.Crew = s.Crew
				e.outlook = coverable(a, nil, "21:40", "22:30")
				e.outlook.LeaveBy, e.outlook.Dark = clock("22:30"), clock("22:40")
				e.walk("21:10", "21:40")
			}
		}, []string{"21:20 cover to lead: 0 l"}},
		{"no day is under way", func(e *evenings) {
			e.outlook = coverable(a, nil, "14:10", "19:00")
			e.walk("13:00", "14:20")
		}, []string{"13:50 cover to lead: 60 l"}},
	} {
		e := &evenings{}
		c.play(e)
		if diff := cmp.Diff(c.want, e.told); diff != "" {
			t.Errorf("%s:\n%s", c.name, diff)
		}
	}
}

func TestWordsOfCovering(t *testing.T) {
	t.Parallel()
	const wet = " Left open, 80 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 400 l if it rains; a cover keeps out about 80 % of that."
	for _, c := range []struct {
		o    Outlook
		s    Standing
		at   string
		want string
	}{
		{coverable(ab, nil, "18:10", "19:00"), Standing{Crew: true}, "18:00",
			"Covering what is open (A, ridge-1) takes 50 min and has to begin by 18:10 EDT to be done by leave-by 19:00 EDT; the plan closes all of it in the 90 minutes left, but from then on only if it is kept to." + wet},
		{coverable(ab, justB, "17:10", "17:40"), Standing{Crew: true}, "17:00",
			"Covering what is open (A, ridge-1) takes 30 min and has to begin by 17:10 EDT to be done by 17:40 EDT, when rain is forecast; in the 90 minutes left the plan does not close ridge-1 (not in stock)." + wet},
		{coverable(ab, ab, "18:10", "19:00"), Standing{}, "18:00",
			"Covering what is open (A, ridge-1) takes 50 min and has to begin by 18:10 EDT to be done by leave-by 19:00 EDT, and no day is under way." + wet},
		{coverable(ab, ab, "18:10", "19:00"), Standing{Crew: true}, "18:20",
			"Covering what is open (A, ridge-1) takes 50 min and had to begin by 18:10 EDT to be done by leave-by 19:00 EDT: cover first what lets most in." + wet},
		{coverable(ab, ab, "17:10", "18:00"), Standing{Crew: true}, "18:00",
			"Rain is forecast from now on, and covering what is open (A, ridge-1) takes 50 min: cover first what lets most in." + wet},
	} {
		d := Decide(Usual(), c.o, c.s, clock(c.at))
		if d.Warn == nil || d.Warn.Why != c.want || d.Warn.Cause != events.Cover || !d.Warn.CoverBy.Equal(c.o.CoverBy) {
			t.Errorf("at %s it says %+v\nwant %s", c.at, d.Warn, c.want)
		}
	}
	if d := Decide(Usual(), coverable(ab, nil, "18:10", "19:00"), Standing{Crew: true}, clock("12:00")); d.Warn != nil || !d.Again.Equal(clock("15:00")) {
		t.Errorf("at noon: %+v", d)
	}
	if d := Decide(Usual(), coverable(ab, nil, "14:10", "19:00"), Standing{Crew: true}, clock("12:00")); d.Warn != nil || !d.Again.Equal(clock("13:50")) {
		t.Errorf("it is to look again at 13:50: %+v", d)
	}
	if strings.Contains(wet, "  ") {
		t.Error(wet)
	}
}
