package watch

import (
	"encoding/json/jsontext"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/roofjob"
	"bydark/services/sky"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
)

// beneath is an evening on which B lies under a cover.
func beneath(open, left []Place, litres float64, forecast uint64, at string) Outlook {
	o := evening(open, left, forecast, at)
	o.Under = []Place{{"B", litres, 5 * litres, ""}}
	o.LeftUnder = o.Under
	return o
}

func TestWaterPastCovers(t *testing.T) {
	t.Parallel()
	crew := Standing{Crew: true}
	named := Standing{Accepted: []events.Place{"B"}, By: "the lead", AcceptedAt: clock("16:30")}
	for _, c := range []struct {
		name string
		play func(*evenings)
		want []string
	}{
		{"a covered plane is all that lets water in: told once, in the last hour", func(e *evenings) {
			e.standing, e.outlook = crew, beneath(nil, nil, 447, 0, "")
			e.walk("06:00", "23:59")
		}, []string{"18:00 hours to lead: 447 l"}},
		{"the day is begun 50 minutes before leave-by: told at once", func(e *evenings) {
			e.standing, e.outlook = crew, beneath(nil, nil, 447, 0, "")
			e.walk("18:10", "23:59")
		}, []string{"18:10 hours to lead: 447 l"}},
		{"too little comes past it to speak of", func(e *evenings) {
			e.standing, e.outlook = crew, beneath(nil, nil, 6, 0, "")
			e.walk("06:00", "23:59")
		}, nil},
		{"somebody takes it upon them: before, nothing; after, it is taken back", func(e *evenings) {
			e.standing, e.outlook = named, beneath(nil, nil, 447, 1, "")
			e.walk("16:30", "19:00")
			e.standing.Accepted = nil
			e.walk("19:00", "19:10")
			e.standing = Standing{Warnings: e.standing.Warnings, Accepted: []events.Place{"B"}, By: "the lead", AcceptedAt: clock("19:10")}
			e.walk("19:10", "23:59")
		}, []string{"19:00 hours to lead: 447 l", "19:10 cleared to lead"}},
		{"a forecast after it was taken upon them: the litres past the cover are told", func(e *evenings) {
			e.standing, e.outlook = named, beneath(nil, nil, 0, 1, "")
			e.walk("16:30", "17:00")
			e.outlook = beneath(nil, nil, 130, 2, "17:00")
			e.walk("17:00", "23:59")
		}, []string{"17:00 forecast to lead: 130 l"}},
		{"a forecast makes it dry: taken back", func(e *evenings) {
			e.standing, e.outlook = crew, beneath(nil, nil, 447, 1, "")
			e.walk("17:00", "18:30")
			e.outlook = beneath(nil, nil, 0, 2, "18:30")
			e.walk("18:30", "23:59")
		}, []string{"18:00 hours to lead: 447 l", "18:30 cleared to lead"}},
		{"it counts with what is open, and is no missed deadline", func(e *evenings) {
			e.standing, e.outlook = crew, beneath(justB, justB, 130, 1, "")
			e.walk("14:00", "18:40")
			e.outlook.Open, e.outlook.Left = nil, nil
			e.walk("18:40", "23:59")
		}, []string{"15:00 hours to lead: 150 l", "18:00 hours to lead: 150 l", "18:40 cleared to lead"}},
		{"nothing is under a cover any more", func(e *evenings) {
			e.standing, e.outlook = crew, beneath(nil, nil, 447, 1, "")
			e.walk("17:00", "18:30")
			e.outlook = evening(nil, nil, 1, "")
			e.walk("18:30", "23:59")
		}, []string{"18:00 hours to lead: 447 l", "18:30 cleared to lead"}},
		{"the cover is taken off at dark: it is open, by nobody's word", func(e *evenings) {
			e.standing, e.outlook = crew, beneath(nil, nil, 447, 1, "")
			e.walk("17:00", "20:10")
			b := []Place{{"B", 2235, 2235, ""}}
			e.outlook = evening(b, b, 1, "")
			e.walk("20:10", "20:30")
		}, []string{"18:00 hours to lead: 447 l", "20:10 missed to manager: 2235 l"}},
	} {
		e := &evenings{}
		c.play(e)
		if diff := cmp.Diff(c.want, e.told); diff != "" {
			t.Errorf("%s:\n%s", c.name, diff)
		}
	}
}

func TestWordsOfWaterPastCovers(t *testing.T) {
	t.Parallel()
	crew := Standing{Crew: true}
	told := func(at string, w events.ExposureWarned) Standing {
		w.Night = "2026-05-04"
		return Standing{Crew: true, By: "the lead", Warnings: []events.Event{{At: clock(at), Body: w}}}
	}
	accepted := Standing{Accepted: []events.Place{"B", "A"}, By: "the lead", AcceptedAt: clock("16:30")}
	for _, c := range []struct {
		o    Outlook
		s    Standing
		at   string
		want string
	}{
		{beneath(nil, nil, 447, 0, ""), crew, "18:10",
			"50 min before leave-by 19:00 EDT, nothing is open and 1 place lies under a cover (B): 447 l would get in by 07:00 EDT with 6.2 mm of rain, assumed because there is no forecast, and 2235 l if it rains; all of it past the cover of B."},
		{beneath(ab, justB, 130, 1, ""), crew, "15:00",
			"4 h before leave-by 19:00 EDT, 2 places are open (A, ridge-1), and in 90 minutes the plan does not close ridge-1 (not in stock): 150 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 750 l if it rains; of it 130 l past the cover of B."},
		{beneath(ab, nil, 130, 1, ""), crew, "18:00",
			"1 h before leave-by 19:00 EDT, 2 places are open (A, ridge-1), and in 90 minutes the plan closes or covers all of it: 130 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 650 l if it rains; all of it past the cover of B."},
		{beneath(ab, ab, 130, 1, ""), Standing{Accepted: accepted.Accepted, By: accepted.By, AcceptedAt: accepted.AcceptedAt}, "20:10",
			"It has been dark since 20:00 EDT and 1 place is open (ridge-1), which nobody has accepted: 20 l would get in by 07:00 EDT with 6.2 mm of rain forecast, and 100 l if it rains; besides 60 l through A, which was accepted, 130 l past the cover of B, which was accepted."},
		// The words of taking back: the same litres as everywhere, and none instead of fewer.
		{beneath(nil, nil, 130, 1, ""), told("15:00", events.ExposureWarned{Cause: events.Hours, Open: []events.Place{"A"}, LeftLitres: 60}), "18:00",
			"Nothing is open any more; it was A. Past the cover of B 130 l would still get in by 07:00 EDT."},
		{evening(drizzle, drizzle, 1, ""), told("15:00", events.ExposureWarned{Cause: events.Hours, Open: []events.Place{"ridge-1"}}), "16:00",
			"3 l would get in by 07:00 EDT with 6.2 mm of rain forecast, less than the 5 l that end a warning."},
		{evening(drizzle, nil, 1, ""), told("15:00", events.ExposureWarned{Cause: events.Cover, Open: []events.Place{"ridge-1"}, OpenLitres: 80, CoverBy: clock("15:20")}), "16:00",
			"3 l instead of 80 l would get in by 07:00 EDT with 6.2 mm of rain forecast, less than the 5 l that end a warning."},
	} {
		d := Decide(Usual(), c.o, c.s, clock(c.at))
		got := ""
		switch {
		case d.Warn != nil:
			got = d.Warn.Why
		case d.Clear != nil:
			got = d.Clear.Why
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("at %s:\n%s", c.at, diff)
		}
	}
	if d := Decide(Usual(), beneath(nil, nil, 447, 0, ""), crew, clock("12:00")); d.Warn != nil || d.Again.Before(clock("12:01")) || d.Again.After(clock("18:00").Add(time.Second)) {
		t.Errorf("at noon: %+v", d)
	}
}

// One plane of 40 ft by some 17 ft lies under a cover, its crew has 50 minutes, and nobody gave
// a forecast: what is warned of are the litres that the board ranks the roof by.
func TestWarnedLitresAreTheBoards(t *testing.T) {
	t.Parallel()
	how, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	site := events.Site{Lat: 40.7, Lon: -74, Zone: "America/New_York"}
	noon := time.Date(2026, 5, 4, 16, 0, 0, 0, time.UTC)
	leave := noon.Add(50 * time.Minute)
	s := roofjob.New("firm", "roof")
	for n, body := range []events.Body{
		events.JobOpened{Name: "Roof", Site: site, Assembly: how, Roof: jsontext.Value(
			`{"name":"Shed","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"}]}`)},
		events.DayStarted{Heads: 2, ShiftEnd: leave, LeaveBy: leave}, events.DeckOpened{Where: "A"}, events.CoverPlaced{Where: "A"},
	} {
		at := noon.Add(time.Duration(n) * time.Second)
		id := events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%d", n)).String())
		if err := s.Add(events.Event{ID: id, At: at, Recorded: at, By: "lead", Sequence: uint64(n + 1), Body: body}); err != nil {
			t.Fatal(err)
		}
	}
	now := noon.Add(time.Minute)
	o, err := outlookOf(s, sky.Known{}, nil, now)
	if err != nil {
		t.Fatal(err)
	}
	w, err := night.Coming(site, night.DayOf(s), now)
	if err != nil {
		t.Fatal(err)
	}
	brings := night.Reckon(night.Stands(s), w, night.Told{}).Water.ExpectedL
	d := Decide(Usual(), o, standing(s, o), now)
	if brings < 400 || d.Warn == nil || math.Abs(float64(d.Warn.LeftLitres)-brings) > 1 || d.Warn.OpenLitres != d.Warn.LeftLitres || !strings.Contains(d.Warn.Why, "nothing is open and 1 place lies under a cover (A)") {
		t.Errorf("of %g l it says %+v", brings, d.Warn)
	}
}
