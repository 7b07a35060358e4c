package main

import (
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"bydark/services/access"

	"github.com/google/go-cmp/cmp"
)

// evening is a served house whose clock the test turns. Its days lie in the future,
// because the door also sets its connections' deadlines by that clock.
type evening struct {
	*running
	t   *testing.T
	now atomic.Pointer[time.Time]
	// counted are the warnings that the looks say they made.
	counted int
}

func (e *evening) clock() time.Time { return *e.now.Load() }

// turn sets the clock to an hour of the told day, in the roof's zone, and looks at all
// roofs once the views have folded what was sent.
func (e *evening) turn(hm string) {
	e.t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		e.t.Fatal(err)
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", hm, zone)
	if err != nil {
		e.t.Fatal(err)
	}
	e.now.Store(&at)
}

// look looks at all roofs, twice: the second look has nothing to add.
func (e *evening) look() {
	e.t.Helper()
	if err := e.runner.CatchUp(e.t.Context()); err != nil {
		e.t.Fatal(err)
	}
	for range 2 {
		w := e.watch()
		if err := w.Look(e.t.Context()); err != nil {
			e.t.Fatal(err)
		}
		f := w.Figures()
		if f.Looks != 1 || f.Failed != 0 || f.Last.IsZero() {
			e.t.Errorf("after a look it counts %+v", f)
		}
		e.counted += int(f.Exposed + f.Cleared + f.Short) //nolint:gosec // a few
	}
	if err := e.runner.CatchUp(e.t.Context()); err != nil {
		e.t.Fatal(err)
	}
	if said := e.warned(); len(said) != e.counted {
		e.t.Errorf("%d warnings are counted, the record has %q", e.counted, said)
	}
}

// warned are the words of what the service said so far, without the numbers of litres
// and minutes, which others check.
func (e *evening) warned() []string {
	var all []string
	for _, line := range e.crew.record("gable", 0) {
		if strings.HasPrefix(line.Type, "exposure-") || strings.HasPrefix(line.Type, "shortage-") {
			all = append(all, line.Words)
		}
	}
	return all
}

// An evening on a roof, through the door of the service: bare deck is warned of at the
// set hours, goes up at dark, is taken back when somebody accepts it, and comes back
// with a wetter forecast; the record and the roof's page show it all, and nobody can
// send such a report himself.
func TestAnEveningIsWatched(t *testing.T) {
	t.Parallel()
	e := &evening{t: t}
	e.turn("2036-05-04 08:00")
	e.running = startAt(t, e.clock)
	c := e.crew
	c.open("gable")
	e.look()
	if got := e.warned(); len(got) != 0 {
		t.Fatalf("before anything was opened: %q", got)
	}
	send := func(name, kind string, fields roofReport) {
		t.Helper()
		r := tell(name, kind, 0, fields)
		r["at"] = e.clock().Format(time.RFC3339)
		c.accept("gable", r)
	}
	send("day", "day-started", roofReport{"heads": 1, "shift_end": "2036-05-04T17:00:00-04:00"})
	send("bare", "deck-opened", roofReport{"where": "A"})
	e.forecast(0.1)
	e.turn("2036-05-04 12:55")
	e.look()
	dry := len(e.warned())
	e.turn("2036-05-04 13:05")
	e.forecast(12)
	e.look()
	for _, hm := range []string{"16:05", "17:30", "20:40", "21:30", "22:45"} {
		e.turn("2036-05-04 " + hm)
		e.look()
		e.look()
	}
	send("accepted", "day-ended", roofReport{"left_open": []string{"roof"}, "accepted_by": "The lead", "reason": "The tarp is on its way."})
	e.turn("2036-05-04 22:50")
	e.look()
	var kinds []string
	for _, w := range e.warned()[dry:] {
		kinds = append(kinds, w[:strings.Index(w, ":")])
		if !strings.Contains(w, "A") || !strings.HasSuffix(w, ".") {
			t.Errorf("no whole sentence: %s", w)
		}
	}
	want := []string{"Warned (lead)", "Warned (lead)", "Warned (manager)", "Warned (owner)", "Warning taken back (lead, manager, owner)"}
	if diff := cmp.Diff(want, kinds); diff != "" {
		t.Errorf("%s\n%s", diff, strings.Join(e.warned(), "\n"))
	}
	status, page := c.ask(http.MethodGet, "/jobs/gable", c.tokens[access.Hand], "")
	if status != http.StatusOK || !strings.Contains(page, "The lead accepts that") || !strings.Contains(page, "manager (The manager)") {
		t.Errorf("the roof's page, %d, does not show what was told:\n%s", status, page)
	}
	for _, forged := range []string{"exposure-warned", "exposure-cleared", "shortage-warned"} {
		got := c.sendAs(access.Owner, "gable", tell("forged "+forged, forged, 1, roofReport{"night": "2036-05-04", "why": "x"}))[0]
		if got.Status != "refused" || got.code() != "unknown-type" {
			t.Errorf("%s sent by a person: %+v", forged, got)
		}
	}
}

// forecast gives the roof a forecast of so many millimetres an hour from now on for a
// day and a half.
func (e *evening) forecast(rainMMH float64) {
	e.t.Helper()
	var hours []map[string]any
	for at := e.clock().Truncate(time.Hour); at.Before(e.clock().Add(36 * time.Hour)); at = at.Add(time.Hour) {
		hours = append(hours, map[string]any{
			"time": at.Format(time.RFC3339), "rain_mm": rainMMH, "chance_pct": 90, "wind_ms": 3, "gust_ms": 5, "wind_from_deg": 200, "temp_c": 15, "dew_c": 7,
		})
	}
	doc := written(e.t, map[string]any{"issued": e.clock().Format(time.RFC3339), "place": "Gable", "hours": hours})
	if status, text := e.crew.ask(http.MethodPut, "/v1/jobs/gable/forecast", e.crew.tokens[access.Lead], doc); status/100 != 2 {
		e.t.Fatalf("forecast: %d %s", status, text)
	}
}

// An official alert that comes at night reaches the lead and the manager at once, although it
// is a quiet hour, says what is loose or open, and is told once.
func TestAnAlertAtNight(t *testing.T) {
	t.Parallel()
	e := &evening{t: t}
	e.turn("2036-05-04 15:00")
	e.running = startAt(t, e.clock)
	c := e.crew
	c.open("gable")
	c.accept("gable", tell("bare", "deck-opened", 0, roofReport{"where": "A"}))
	ended := tell("accepted", "day-ended", 0, roofReport{"left_open": []string{"roof"}, "accepted_by": "The lead", "reason": "It stays dry."})
	ended["at"] = e.clock().Format(time.RFC3339)
	c.accept("gable", ended)
	e.forecast(0)
	e.look()
	if got := e.warned(); len(got) != 0 {
		t.Fatalf("before the alert: %q", got)
	}
	e.turn("2036-05-04 23:10")
	alert := map[string]any{
		"event": "Severe Thunderstorm Warning", "severity": "Severe", "status": "Actual", "messageType": "Alert", "areaDesc": "The county",
		"sent": "2036-05-04T23:05:00-04:00", "onset": "2036-05-05T00:30:00-04:00", "expires": "2036-05-05T02:00:00-04:00",
	}
	doc := written(t, map[string]any{"type": "FeatureCollection", "features": []any{map[string]any{"type": "Feature", "geometry": nil, "properties": alert}}})
	for range 2 {
		if status, text := c.ask(http.MethodPut, "/v1/jobs/gable/forecast", c.tokens[access.Lead], doc); status/100 != 2 {
			t.Fatalf("alerts: %d %s", status, text)
		}
		e.look()
	}
	got := e.warned()
	if len(got) != 1 || !strings.HasPrefix(got[0], "Warned (lead, manager): The weather service warns of Severe Thunderstorm Warning (severe) from Mon 00:30 EDT to Mon 02:00 EDT.") || !strings.Contains(got[0], "Open: A") {
		t.Errorf("told: %q", got)
	}
}

// Two processes watch one log at the same minute: each warning is told once.
func TestTwoWatchOneLog(t *testing.T) {
	t.Parallel()
	e := &evening{t: t}
	e.turn("2036-05-04 15:00")
	e.running = startAt(t, e.clock)
	e.crew.open("gable")
	e.crew.accept("gable", tell("bare", "deck-opened", 0, roofReport{"where": "A"}))
	e.turn("2036-05-04 20:40")
	if err := e.runner.CatchUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 4)
	for range cap(ended) {
		go func() { ended <- e.watch().Look(t.Context()) }()
	}
	for range cap(ended) {
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
	}
	if err := e.runner.CatchUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := e.warned(); len(got) != 1 {
		t.Errorf("told %d times: %q", len(got), got)
	}
}
