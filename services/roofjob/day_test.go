package roofjob_test

import (
	"testing"
	"time"

	"bydark/events"
)

// A second start of a day under way changes how it stands, not when it began; after a day that
// nobody ended the next one begins anew.
func TestADayIsChanged(t *testing.T) {
	t.Parallel()
	s := opened(t)
	end := morning.Add(9 * time.Hour)
	for n, c := range []struct {
		at    time.Duration
		day   events.DayStarted
		began time.Duration
	}{
		{at: 0, day: events.DayStarted{Heads: 4, ShiftEnd: end}},
		{at: 5 * time.Hour, day: events.DayStarted{Heads: 2, ShiftEnd: end, LeaveBy: morning.Add(7 * time.Hour)}},
		{at: 6 * time.Hour, day: events.DayStarted{Heads: 2, ShiftEnd: end}},
		{at: 23 * time.Hour, day: events.DayStarted{Heads: 3, ShiftEnd: end.Add(24 * time.Hour)}, began: 23 * time.Hour},
	} {
		must(t, tell(s, 1+n, c.at, "lead", c.day))
		if n == 2 { // the lead's word stands
			c.day.LeaveBy = morning.Add(7 * time.Hour)
		}
		day, began := s.Day()
		if day == nil || *day != c.day || !began.Equal(morning.Add(c.began)) {
			t.Errorf("after %s: %+v, began %s", c.at, day, began)
		}
	}
	must(t, tell(s, 8, 24*time.Hour, "lead", events.DayEnded{}))
	must(t, tell(s, 9, 25*time.Hour, "lead", events.DayStarted{Heads: 1, ShiftEnd: end.Add(24 * time.Hour)}))
	if _, began := s.Day(); !began.Equal(morning.Add(25 * time.Hour)) {
		t.Errorf("started after it was ended, it began %s", began)
	}
	for _, leave := range []time.Duration{-time.Minute, 0, 24*time.Hour + time.Minute} {
		at := 26 * time.Hour
		r := events.RefusalIn(tell(s, 20, at, "lead", events.DayStarted{Heads: 1, ShiftEnd: end.Add(48 * time.Hour), LeaveBy: morning.Add(at + leave)}))
		if r == nil || r.Code != "impossible" || r.Where != "/leave_by" {
			t.Errorf("to leave %s after the report: %v", leave, r)
		}
	}
}
