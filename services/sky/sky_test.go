package sky

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/journal/journaltest"
	"bydark/services/weather"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func csv(mm int) []byte {
	return fmt.Appendf(nil, "time,rain_mm\n2026-05-04T13:00:00-04:00,%d\n", mm)
}

// site is where the roofs of these tests stand: in Minnesota, as the recorded alerts.
var site = events.Site{Lat: 44.98, Lon: -93.16, Zone: "America/Chicago"}

// clock steps a second at each look.
type clock struct{ at time.Time }

func (c *clock) now() time.Time {
	c.at = c.at.Add(time.Second)
	return c.at
}

// Two services on one log, each with what it remembers, say what a third says that has just
// begun; and what was known when stays so.
func TestWhatIsRememberedIsWhatTheLogSays(t *testing.T) {
	log := journaltest.Open(t)
	c := &clock{time.Date(2024, 1, 12, 16, 0, 0, 0, time.UTC)}
	a, b := New(log, c.now), New(log, c.now)
	alerts, err := os.ReadFile("../../testdata/weather/alerts-2024-01-12-mpx/alerts.json")
	if err != nil {
		t.Fatal(err)
	}
	keep := func(s *Service, doc []byte) Kept {
		t.Helper()
		k, err := s.Keep(t.Context(), "firm", "roof", "lead", site, doc)
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	known := func(s *Service, at time.Time) Known {
		t.Helper()
		k, err := s.Known(t.Context(), "firm", "roof", at)
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	if k := known(a, time.Time{}); k.Forecast.Sequence != 0 || k.Alerts.Sequence != 0 {
		t.Fatalf("before any: %+v", k)
	}
	var kept []Kept
	for n, s := range []*Service{a, b, a, a, b} {
		kept = append(kept, keep(s, csv(n+1)))
	}
	warned := keep(b, alerts)
	if !warned.IsAlerts() || len(warned.Alerts) == 0 {
		t.Fatalf("the alerts were kept as %+v", warned)
	}
	for name, s := range map[string]*Service{"one that kept some": a, "another": b, "one that has just begun": New(log, c.now)} {
		k := known(s, time.Time{})
		if k.Forecast.Sequence != kept[4].Sequence || k.Forecast.Hours[0].RainMM.V != 5 || k.Alerts.Sequence != warned.Sequence || len(k.Alerts.Alerts) != len(warned.Alerts) {
			t.Errorf("%s knows %d of %g mm and alerts %d", name, k.Forecast.Sequence, k.Forecast.Hours[0].RainMM.V, k.Alerts.Sequence)
		}
		for n := range kept {
			k := known(s, kept[n].Recorded)
			if k.Forecast.Hours[0].RainMM.V != float64(n+1) || k.Alerts.Sequence != 0 {
				t.Errorf("%s: at %s it knew %g mm, alerts %d", name, kept[n].Recorded, k.Forecast.Hours[0].RainMM.V, k.Alerts.Sequence)
			}
		}
	}
	if _, err := a.Keep(t.Context(), "firm", "roof", "lead", site, []byte("time,rain_mm\n2026-05-04T13:00:00-04:00,-1\n")); events.RefusalIn(err) == nil {
		t.Errorf("rain below zero gave %v", err)
	}
	if k := known(a, time.Time{}); k.Forecast.Sequence != kept[4].Sequence {
		t.Error("a refused forecast took the place of the last good one")
	}
	for _, s := range []*Service{a, b} {
		if k, err := s.Recent(t.Context(), "firm", "roof"); err != nil || k.Forecast.Sequence != kept[4].Sequence {
			t.Errorf("lately %d was known, %v", k.Forecast.Sequence, err)
		}
	}
	if k, err := a.Known(t.Context(), "firm", "other", time.Time{}); err != nil || k.Forecast.Sequence != 0 {
		t.Errorf("another roof knows %d, %v", k.Forecast.Sequence, err)
	}
}

// What is for another place is refused in words, what is over is told, and the last good one
// stays; what was kept can still be read when its hours are over.
func TestWhatDoesNotFitChangesNothing(t *testing.T) {
	log := journaltest.Open(t)
	c := &clock{time.Date(2026, 3, 4, 20, 0, 0, 0, time.UTC)}
	s := New(log, c.now)
	read := func(name string) []byte {
		t.Helper()
		doc, err := os.ReadFile("../../testdata/weather/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return doc
	}
	good, err := s.Keep(t.Context(), "firm", "roof", "lead", site, read("mpx-2026-03-04/gridpoint.json"))
	if err != nil {
		t.Fatal(err)
	}
	for what, doc := range map[string][]byte{
		"another city": read("sew-2026-03-04/gridpoint.json"), "its hourly forecast": read("sew-2026-03-04/forecast-hourly.json"),
		"a storm elsewhere": []byte(`{"type":"FeatureCollection","features":[{"geometry":{"type":"Polygon","coordinates":[[[-90,30],[-89,30],[-89,31],[-90,30]]]},"properties":{"event":"Tornado Warning","sent":"2026-03-04T19:00:00Z","expires":"2026-03-04T21:00:00Z"}}]}`),
	} {
		_, err := s.Keep(t.Context(), "firm", "roof", "lead", site, doc)
		if r := events.RefusalIn(err); r == nil || r.Code != weather.CodeElsewhere || r.Was == "" || r.Want == "" {
			t.Errorf("%s: %v", what, err)
		}
	}
	var alone uint64 // the last of a roof that was given nothing better
	for what, doc := range map[string][]byte{
		"a forecast of two years ago": []byte("time,rain_mm\n2024-01-11T13:00:00-06:00,1\n2024-01-11T14:00:00-06:00,1\n"), "an hour that is over": []byte("time,rain_mm\n2026-03-04T13:00:00-06:00,1\n"),
		"alerts of zones that are over": []byte(`{"type":"FeatureCollection","features":[{"geometry":null,"properties":{"event":"High Wind Warning","sent":"2026-03-03T00:00:00Z","expires":"2026-03-03T06:00:00Z"}}]}`),
	} {
		for _, roof := range []events.JobID{"roof", "bare"} {
			k, err := s.Keep(t.Context(), "firm", roof, "lead", site, doc)
			if err != nil || !strings.Contains(k.Over, "ended") {
				t.Errorf("%s: %q, %v", what, k.Over, err)
			}
			if roof == "bare" && !k.IsAlerts() {
				alone = k.Sequence
			}
		}
	}
	c.at = c.at.AddDate(0, 1, 0)
	for name, s := range map[string]*Service{"the one that kept it": s, "one that has just begun": New(log, c.now)} {
		if k, err := s.Known(t.Context(), "firm", "roof", time.Time{}); err != nil || k.Forecast.Sequence != good.Sequence || k.Alerts.Over == "" || len(k.Forecast.Hours) == 0 {
			t.Errorf("%s knows %d of %d hours, %v", name, k.Forecast.Sequence, len(k.Forecast.Hours), err)
		}
		if k, err := s.Known(t.Context(), "firm", "bare", time.Time{}); err != nil || k.Forecast.Sequence != alone {
			t.Errorf("%s knows %d of a roof that was given nothing better than %d, %v", name, k.Forecast.Sequence, alone, err)
		}
	}
}

// What is remembered is bounded.
func TestPagesAreBounded(t *testing.T) {
	s := New(nil, nil)
	for n := range 3 * warmJobs {
		s.page(fmt.Sprint(n))
	}
	if len(s.jobs) > warmJobs {
		t.Errorf("%d pages are kept", len(s.jobs))
	}
}

// BenchmarkKnown is the price of asking when nothing is new.
func BenchmarkKnown(b *testing.B) {
	log := journaltest.Open(b)
	s := New(log, time.Now)
	for range 50 {
		if _, err := s.Keep(b.Context(), "firm", "roof", "lead", site, csv(1)); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		if _, err := s.Known(b.Context(), "firm", "roof", time.Time{}); err != nil {
			b.Fatal(err)
		}
	}
}
