package facade

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/access"
	"bydark/services/weather"
)

// What a lead sees coming is a forecast like any other.
func TestSeenComing(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 5, 4, 18, 20, 0, 0, time.UTC)
	form := func(pairs ...string) func(string) string {
		v := url.Values{}
		for i := 0; i < len(pairs); i += 2 {
			v.Set(pairs[i], pairs[i+1])
		}
		return v.Get
	}
	doc, err := seenComing(form("rain", "0.2", "rain_from", "2026-05-04T17:30", "rain_to", "2026-05-04T20:00", "wind", "10", "wind_from", "225"), zone, now)
	if err != nil {
		t.Fatal(err)
	}
	read, err := weather.Read(doc)
	if err != nil {
		t.Fatal(err)
	}
	wet := map[string]float64{}
	for _, h := range read.Hours {
		if !h.RainMM.Known || !h.WindMS.Known || h.GustMS.Known || h.WindFromDeg.V != 225 {
			t.Errorf("%+v", h)
		}
		if h.RainMM.V > 0 {
			wet[h.Time.In(zone).Format("15:04")] = h.RainMM.V
		}
	}
	if len(read.Hours) != manualHours || len(wet) != 3 || wet["17:00"] != 0.2*25.4 || wet["19:00"] != 0.2*25.4 {
		t.Errorf("%d hours, wet %v", len(read.Hours), wet)
	}
	for where, get := range map[string]func(string) string{
		"/rain": form("wind", "3"), "/rain_to": form("rain", "1", "rain_from", "2026-05-04T20:00", "rain_to", "2026-05-04T19:00"), "/wind": form("rain", "0", "wind", "NaN"),
		"/chance": form("rain", "0", "chance", "101"), "/rain_from": form("rain", "1", "rain_from", "soon", "rain_to", "late"),
	} {
		_, err := seenComing(get, zone, now)
		if r := events.RefusalIn(err); r == nil || r.Where != where {
			t.Errorf("%s: %v", where, err)
		}
	}
}

func TestForecastByForm(t *testing.T) {
	t.Parallel()
	h := open(t)
	send := func(parts ...[2]string) reply {
		kind, body := formOfParts(t, parts...)
		return h.ask(post, "/jobs/theirs/forecast", h.b.token(access.Lead), body, header("Content-Type", kind))
	}
	before := h.written()
	if got := send([2]string{"rain", "wet"}); got.status/100 != 4 || !strings.Contains(got.body, "Not taken") || h.written() != before {
		t.Errorf("rubbish: %d %s", got.status, got.body)
	}
	if got := send([2]string{"document>", "no forecast"}); got.status/100 != 4 || h.written() != before {
		t.Errorf("a rubbish document: %d %s", got.status, got.body)
	}
	if got := send([2]string{"rain", "0"}); got.status != http.StatusSeeOther {
		t.Errorf("%d %s", got.status, got.body)
	}
	if got := h.ask(get, "/jobs/theirs/tonight", h.b.token(access.Lead), ""); got.status != http.StatusOK || strings.Contains(got.body, "No forecast") {
		t.Errorf("tonight does not know of it: %d", got.status)
	}
	if got := h.ask(get, "/jobs/theirs/tonight", h.b.token(access.Hand), ""); strings.Contains(got.body, "/jobs/theirs/forecast") {
		t.Error("a hand is offered the forecast's page")
	}
}
