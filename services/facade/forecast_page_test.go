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

// What is for another place is refused by the page and by the route, in words, and leaves
// nothing; what is over is kept, told, and changes nothing; the page of the night says which moment it shows, and shows it.
func TestForecastsThatDoNotFit(t *testing.T) {
	t.Parallel()
	h := open(t)
	lead := h.b.token(access.Lead)
	send := func(doc string) reply {
		kind, body := formOfParts(t, [2]string{"document>", doc})
		return h.ask(post, "/jobs/theirs/forecast", lead, body, header("Content-Type", kind))
	}
	now := time.Now()
	at := now.UTC().Truncate(time.Hour)
	elsewhere := `{"type":"Feature","geometry":{"type":"Point","coordinates":[144.8,13.4]},"properties":{"validTimes":"x","quantitativePrecipitation":{"uom":"wmoUnit:mm","values":[{"validTime":"` + at.Format(time.RFC3339) + `/PT30H","value":1}]}}}`
	over := "time,rain_mm\n" + at.Add(-3*time.Hour).Format(time.RFC3339) + ",1\n"
	before := h.written()
	const far, ended = " mi) from the roof", "the last of them ended"
	if got := send(elsewhere); got.status != http.StatusUnprocessableEntity || !strings.Contains(got.body, "Not taken") || !strings.Contains(got.body, far) {
		t.Errorf("the page takes a forecast of elsewhere: %d %s", got.status, got.body)
	}
	if got := h.ask(put, "/v1/jobs/theirs/forecast", lead, elsewhere, header("Content-Type", "application/json")); got.status != http.StatusUnprocessableEntity || !strings.Contains(got.body, far) {
		t.Errorf("the route takes a forecast of elsewhere: %d %s", got.status, got.body)
	}
	if h.written() != before {
		t.Error("something was written")
	}
	if got := send(over); got.status != http.StatusOK || !strings.Contains(got.body, "Kept, but over") || !strings.Contains(got.body, ended) {
		t.Errorf("the page and a forecast that is over: %d %s", got.status, got.body)
	}
	if got := h.ask(put, "/v1/jobs/theirs/forecast", lead, over, header("Content-Type", "text/csv")); got.status != http.StatusOK || !strings.Contains(got.body, `"over":"`+ended) {
		t.Errorf("the route and a forecast that is over: %d %s", got.status, got.body)
	}
	then := now.Add(-time.Minute).UTC().Format(time.RFC3339)
	for _, query := range []string{"", "?at=" + then, "?known=" + now.UTC().Format(time.RFC3339Nano)} {
		got := h.ask(get, "/jobs/theirs/tonight"+query, lead, "")
		if got.status != http.StatusOK || strings.Contains(got.body, "Not now: as it was") != (query != "") {
			t.Errorf("tonight%s: %d", query, got.status)
		}
	}
	if got := h.ask(get, "/jobs/theirs/tonight?at=yesterday", lead, ""); got.status != http.StatusBadRequest || !strings.Contains(got.body, "RFC 3339") {
		t.Errorf("a moment that is none: %d %s", got.status, got.body)
	}
}
