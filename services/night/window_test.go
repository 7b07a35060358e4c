package night_test

import (
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/night"
)

// The end of a day and the next start: by dusk, by the shift, in the small hours, over the
// change of clocks, and where the sun does not set or rise. Dusk in New York on 4 May is
// 20:26 (sunset 19:56 and half an hour; from memory of the almanac, to five minutes).
func TestComing(t *testing.T) {
	t.Parallel()
	tromso := events.Site{Lat: 69.65, Lon: 18.96, Zone: "Europe/Oslo"}
	shift := func(at, end string) night.Day {
		began, err := time.ParseInLocation("2006-01-02 15:04", at, newYork)
		if err != nil {
			t.Fatal(err)
		}
		ends, err := time.ParseInLocation("2006-01-02 15:04", end, newYork)
		if err != nil {
			t.Fatal(err)
		}
		return night.Day{Planned: 5, Today: &events.DayStarted{Heads: 2, ShiftEnd: ends}, Began: began}
	}
	set := func(d night.Day, leave string) night.Day {
		at, err := time.ParseInLocation("2006-01-02 15:04", leave, newYork)
		if err != nil {
			t.Fatal(err)
		}
		d.Today.LeaveBy = at
		return d
	}
	for _, c := range []struct {
		what         string
		site         events.Site
		day          night.Day
		now          string
		leave, start string
		because      string
		heads        int
	}{
		{"an afternoon", site, night.Day{}, "2026-05-04 14:00", "05-04 20:26", "05-05 07:00", "civil dusk", 3},
		{"a planned crew", site, night.Day{Planned: 5}, "2026-05-04 14:00", "05-04 20:26", "05-05 07:00", "civil dusk", 5},
		{"a shift", site, shift("2026-05-04 07:00", "2026-05-04 16:30"), "2026-05-04 14:00", "05-04 16:30", "05-05 07:00", "shift", 2},
		{"a shift longer than the light", site, shift("2026-05-04 07:00", "2026-05-04 22:00"), "2026-05-04 14:00", "05-04 20:26", "05-05 07:00", "civil dusk", 2},
		{"the lead is the earliest of the three", site, set(shift("2026-05-04 07:00", "2026-05-04 16:30"), "2026-05-04 15:45"), "2026-05-04 14:00", "05-04 15:45", "05-05 07:00", "the lead set", 2},
		{"the lead sets no later than the shift", site, set(shift("2026-05-04 07:00", "2026-05-04 16:30"), "2026-05-04 17:00"), "2026-05-04 14:00", "05-04 16:30", "05-05 07:00", "shift", 2},
		{"nor later than the light", site, set(shift("2026-05-04 07:00", "2026-05-04 22:00"), "2026-05-04 21:00"), "2026-05-04 14:00", "05-04 20:26", "05-05 07:00", "civil dusk", 2},
		{"what was set for yesterday", site, set(shift("2026-05-03 07:00", "2026-05-03 16:30"), "2026-05-03 15:00"), "2026-05-04 14:00", "05-04 20:26", "05-05 07:00", "civil dusk", 5},
		{"yesterday's shift, never ended", site, shift("2026-05-03 07:00", "2026-05-03 16:30"), "2026-05-04 14:00", "05-04 20:26", "05-05 07:00", "civil dusk", 5},
		{"the small hours: the night under way", site, night.Day{}, "2026-05-05 02:00", "05-04 20:26", "05-05 07:00", "civil dusk", 3},
		{"the small hours, but a crew has begun", site, shift("2026-05-05 05:30", "2026-05-05 14:00"), "2026-05-05 06:00", "05-05 14:00", "05-06 07:00", "shift", 2},
		{"the night in which clocks go forward", site, night.Day{}, "2026-03-07 14:00", "03-07 18:19", "03-08 07:00", "civil dusk", 3},
		{"a summer without night", tromso, night.Day{}, "2026-06-21 14:00", "06-21 20:00", "06-22 07:00", "does not get dark", 3},
		{"a winter without sun", tromso, night.Day{}, "2026-12-21 14:00", "", "12-22 07:00", "civil dusk", 3},
	} {
		zone, err := time.LoadLocation(c.site.Zone)
		if err != nil {
			t.Fatal(err)
		}
		now, err := time.ParseInLocation("2006-01-02 15:04", c.now, zone)
		if err != nil {
			t.Fatal(err)
		}
		w, err := night.Coming(c.site, c.day, now)
		if err != nil {
			t.Fatal(err)
		}
		if c.leave == "" { // whenever the almanac says
			c.leave = w.LeaveBy.In(zone).Format("01-02 15:04")
		}
		leave, err := time.ParseInLocation("2006-01-02 15:04", "2026-"+c.leave, zone)
		if err != nil {
			t.Fatal(err)
		}
		if d := w.LeaveBy.Sub(leave); d > 5*time.Minute || d < -5*time.Minute {
			t.Errorf("%s: leave by %s, want %s", c.what, w.LeaveBy.In(zone), leave)
		}
		if w.Start.In(zone).Format("01-02 15:04") != c.start || !strings.Contains(w.Because, c.because) || w.Heads != c.heads || w.From().Before(w.LeaveBy) || w.LightEnd.Before(w.LeaveBy) || !w.LeaveBy.Before(w.Start) {
			t.Errorf("%s: start %s, %s, %d heads", c.what, w.Start.In(zone), w.Because, w.Heads)
		}
	}
}
