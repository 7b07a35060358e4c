package sky

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"bydark/events/journal/journaltest"
)

// service is a weather service of our own that remembers how it was asked.
type service struct {
	*httptest.Server
	asked   []string
	headers []http.Header
	status  int    // of forecasts; zero answers them
	body    []byte // of forecasts
	tag     string
	grid    string // what points answer
}

func serveWeather(t *testing.T) *service {
	t.Helper()
	doc, err := os.ReadFile("../../testdata/weather/ohx-2024-01-08/gridpoint.json")
	if err != nil {
		t.Fatal(err)
	}
	s := &service{body: doc, tag: `"one"`}
	s.Server = httptest.NewServer(http.HandlerFunc(s.answer))
	s.grid = s.URL + "/gridpoints/OHX/14,55"
	t.Cleanup(s.Close)
	return s
}

func (s *service) answer(w http.ResponseWriter, r *http.Request) {
	s.asked = append(s.asked, r.URL.String())
	s.headers = append(s.headers, r.Header.Clone())
	switch {
	case strings.HasPrefix(r.URL.Path, "/points/"):
		fmt.Fprintf(w, `{"properties":{"forecastGridData":%q}}`, s.grid)
	case r.URL.Path == "/alerts/active":
		fmt.Fprint(w, `{"type":"FeatureCollection","features":[]}`)
	case s.status != 0:
		w.Header().Set("Retry-After", "7200")
		w.WriteHeader(s.status)
	case r.Header.Get("If-None-Match") == s.tag:
		w.WriteHeader(http.StatusNotModified)
	default:
		w.Header().Set("ETag", s.tag)
		w.Header().Set("Cache-Control", "public, max-age=3600")
		_, _ = w.Write(s.body) // a client that went away is the test's to tell
	}
}

// of counts the requests of a kind since the last time.
func (s *service) of(prefix string) int {
	n := 0
	for _, a := range s.asked {
		if strings.HasPrefix(a, prefix) {
			n++
		}
	}
	return n
}

func TestFetchIsPolite(t *testing.T) {
	s := serveWeather(t)
	now := time.Date(2024, 1, 8, 22, 0, 0, 0, time.UTC)
	clock := func() time.Time { return now }
	sky := New(journaltest.Open(t), clock)
	roofs := []Roof{{"firm", "a", 36.12, -86.69}, {"firm", "b", 36.12, -86.69}, {"other", "c", 36.12001, -86.69002}}
	config := FetchConfig{Sky: sky, Roofs: func(context.Context) ([]Roof, error) { return roofs, nil }, Client: s.Client(),
		Base: s.URL, Agent: "bydark/test (roofs@firm.example)", Now: clock, Log: slog.New(slog.DiscardHandler)}
	f := NewFetcher(config)
	look := func(f *Fetcher) {
		t.Helper()
		s.asked, s.headers = nil, nil
		if err := f.Look(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	sequences := func() (all []uint64) {
		t.Helper()
		for _, r := range roofs {
			k, err := sky.Known(t.Context(), r.Company, r.Job, time.Time{})
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, k.Forecast.Sequence)
			if k.Alerts.Sequence != 0 {
				t.Errorf("no alerts were kept as an event for %s", r.Job)
			}
		}
		return all
	}
	look(f)
	first := sequences()
	if s.of("/points") != 1 || s.of("/gridpoints") != 1 || s.of("/alerts") != 1 || first[0] == 0 || first[1] == 0 || first[2] == 0 {
		t.Fatalf("three roofs in one place asked %v and hold %v", s.asked, first)
	}
	for _, h := range s.headers {
		if h.Get("User-Agent") != config.Agent {
			t.Errorf("it called itself %q", h.Get("User-Agent"))
		}
	}
	if look(f); len(s.asked) != 0 {
		t.Errorf("at once again it asked %v", s.asked)
	}
	now = now.Add(2 * time.Hour) // past the hour that the answer was good for
	look(f)
	if s.of("/gridpoints") != 1 || s.headers[len(s.headers)-1].Get("If-None-Match") != s.tag || fmt.Sprint(sequences()) != fmt.Sprint(first) {
		t.Errorf("two hours later it asked %v and holds %v of %v", s.asked, sequences(), first)
	}
	// A new process asks once and keeps nothing twice; a new roof of the place gets what is
	// there without another request.
	look(NewFetcher(config))
	if fmt.Sprint(sequences()) != fmt.Sprint(first) {
		t.Errorf("a new process kept the same again: %v of %v", sequences(), first)
	}
	roofs = append(roofs, Roof{"firm", "d", 36.12, -86.69})
	if look(f); s.of("/gridpoints") != 0 || sequences()[3] == 0 {
		t.Errorf("for a new roof it asked %v and holds %v", s.asked, sequences())
	}
	first = sequences()
	// It fails, asks to be left alone for two hours, and is.
	s.status, now = http.StatusServiceUnavailable, now.Add(4*time.Hour)
	look(f)
	now = now.Add(119 * time.Minute)
	if look(f); s.of("/gridpoints") != 0 || fmt.Sprint(sequences()) != fmt.Sprint(first) {
		t.Errorf("it was not left alone: %v; holds %v of %v", s.asked, sequences(), first)
	}
	// It answers for another place, or with hours that are over: the last good one stays, and
	// nobody is asked again before it is due.
	for n, name := range []string{"sew-2026-03-04", "bmx-2024-02-20"} {
		doc, err := os.ReadFile("../../testdata/weather/" + name + "/gridpoint.json")
		if err != nil {
			t.Fatal(err)
		}
		s.status, s.tag, s.body, now = 0, fmt.Sprintf("%q", name), doc, now.Add(5*time.Hour)
		if look(f); s.of("/gridpoints") != 1 || fmt.Sprint(sequences()) != fmt.Sprint(first) {
			t.Errorf("%d: what does not fit was kept: asked %v, holds %v of %v", n, s.asked, sequences(), first)
		}
		if look(f); len(s.asked) != 0 {
			t.Errorf("%d: at once again it asked %v", n, s.asked)
		}
	}
	// What it then answers is rubbish: the last good one stays.
	s.status, s.tag, s.body, now = 0, `"two"`, []byte(`{"properties":{"validTimes":"x"`), now.Add(3*time.Hour)
	if look(f); s.of("/gridpoints") != 1 || fmt.Sprint(sequences()) != fmt.Sprint(first) {
		t.Errorf("rubbish was kept: asked %v, holds %v of %v", s.asked, sequences(), first)
	}
}

// An answer does not send us to another host.
func TestFetchStaysWithTheService(t *testing.T) {
	s := serveWeather(t)
	s.grid = "http://127.0.0.1:1/gridpoints/X/1,1"
	sky := New(journaltest.Open(t), time.Now)
	f := NewFetcher(FetchConfig{Sky: sky, Roofs: func(context.Context) ([]Roof, error) { return []Roof{{"firm", "a", 36.12, -86.69}}, nil },
		Client: s.Client(), Base: s.URL, Agent: "bydark/test", Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	if err := f.Look(t.Context()); err != nil {
		t.Fatal(err)
	}
	if k, err := sky.Known(t.Context(), "firm", "a", time.Time{}); err != nil || k.Forecast.Sequence != 0 || s.of("/gridpoints") != 0 {
		t.Errorf("it holds %d, asked %v, %v", k.Forecast.Sequence, s.asked, err)
	}
}
