package facade

import (
	"context"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
)

func TestReadiness(t *testing.T) {
	t.Parallel()
	well := true
	h := open(t, func(d *Deps) {
		d.Ready = []Check{{"log", func(context.Context) error { return nil }}, {"views", func(context.Context) error {
			if well {
				return nil
			}
			return errors.New("secret path /var/x")
		}}}
	})
	if got := h.ask(get, "/readyz", "", ""); got.status != http.StatusOK || got.body != `{"checks":{"log":"well","views":"well"},"ready":true}` {
		t.Errorf("%d %s", got.status, got.body)
	}
	well = false
	if got := h.ask(get, "/readyz", "", ""); got.status != http.StatusServiceUnavailable || got.body != `{"checks":{"log":"well","views":"not well"},"ready":false}` {
		t.Errorf("%d %s", got.status, got.body)
	}
	if !strings.Contains(h.logged.String(), "secret path") {
		t.Error("why it is not ready is not in the log")
	}
	if got := h.ask(get, "/healthz", "", ""); got.status != http.StatusOK || got.body != "alive\n" {
		t.Errorf("%d %s", got.status, got.body)
	}
}

// F07: S59: of what broke, people see a number, and the log all, once.
func TestFaults(t *testing.T) {
	t.Parallel()
	h := open(t, func(d *Deps) { d.Subscribe = func() Subscription { panic("secret detail") } })
	got := h.ask(get, "/v1/live", h.a.token(access.Owner), "")
	p := got.problem(t)
	if got.status != http.StatusInternalServerError || p.Code != "fault" || p.Quote == "" || strings.Contains(got.body, "secret") || strings.Contains(got.body, ".go") {
		t.Errorf("%d %s", got.status, got.body)
	}
	if log := h.logged.String(); strings.Count(log, "secret detail") != 1 || strings.Count(log, "quote="+p.Quote) != 1 || !strings.Contains(log, `route="GET /v1/live"`) {
		t.Errorf("logged: %s", log)
	}
	if again := h.ask(get, "/v1/live", h.a.token(access.Owner), "").problem(t); again.Quote == p.Quote {
		t.Errorf("two faults have the number %s", p.Quote)
	}
	if got := h.ask(get, "/healthz", "", ""); got.status != http.StatusOK {
		t.Errorf("afterwards: %d", got.status)
	}
}

// S16.5.3: without its log the service fails closed, and says that the outcome is open.
func TestWithoutTheLog(t *testing.T) {
	t.Parallel()
	h := open(t)
	if err := h.journal.Close(); err != nil {
		t.Fatal(err)
	}
	got := h.ask(post, "/v1/people", h.a.token(access.Owner), `{"name":"Ike","role":"hand"}`)
	if p := got.problem(t); got.status != http.StatusServiceUnavailable || p.Code != "no-answer" || got.header.Get("Retry-After") == "" {
		t.Errorf("%d %s\n%s", got.status, got.body, h.logged.String())
	}
}

// The table of problems: every row is reached, and a wrapped error is what it wraps.
func TestEveryErrorHasOneAnswer(t *testing.T) {
	t.Parallel()
	h := open(t)
	for _, row := range sentinels {
		p := h.problem(t.Context(), errors.Join(errors.New("while doing something"), row.is))
		if p.Status != row.status || p.Code != row.code || p.Detail != row.words || p.Quote != "" || p.Title != http.StatusText(row.status) {
			t.Errorf("%v gave %+v", row.is, p)
		}
	}
	for code, status := range statuses {
		if p := h.problem(t.Context(), &events.Refusal{Code: code, Missing: []string{"a"}}); p.Status != status || p.Code != code || len(p.Missing) != 1 {
			t.Errorf("%s gave %+v", code, p)
		}
	}
	for code, status := range map[string]int{"unknown-mark": 422, "unreadable-time": 400, "steps-open": 422} {
		if got := statusOf(code); got != status {
			t.Errorf("%s gives %d", code, got)
		}
	}
	if p := h.problem(t.Context(), &journal.Damage{Reason: "secret"}); p.Status != 500 || p.Quote == "" || strings.Contains(p.Detail, "secret") {
		t.Errorf("damage gave %+v", p)
	}
}

// A person in a browser sees words, a program sees a document.
func TestProblemPages(t *testing.T) {
	t.Parallel()
	h := open(t)
	got := h.ask(get, "/nowhere<script>", h.a.token(access.Owner), "", header("Accept", "text/html,application/xhtml+xml"))
	if got.status != http.StatusNotFound || !strings.HasPrefix(got.header.Get("Content-Type"), "text/html") || strings.Contains(got.body, "<script") || !strings.Contains(got.body, "Not Found") {
		t.Errorf("%d %s", got.status, got.body)
	}
	got = h.ask(get, "/v1/nowhere", h.a.token(access.Owner), "", header("Accept", "text/html"))
	got.problem(t)
}

// F06: an answer under way is finished when the service stops.
func TestStopWaits(t *testing.T) {
	t.Parallel()
	entered, leave := make(chan struct{}), make(chan struct{})
	h := open(t, func(d *Deps) {
		d.Ready = []Check{{"slow", func(context.Context) error { close(entered); <-leave; return nil }}}
	})
	answered := make(chan reply)
	go func() {
		r, err := http.NewRequestWithContext(t.Context(), get, h.url+"/healthz", nil)
		if err == nil {
			r.URL.Path = "/readyz"
			var a *http.Response
			if a, err = http.DefaultTransport.RoundTrip(r); err == nil {
				var body []byte
				body, err = io.ReadAll(a.Body)
				if err = errors.Join(err, a.Body.Close()); err == nil {
					answered <- reply{a.StatusCode, a.Header, string(body)}
					return
				}
			}
		}
		answered <- reply{body: err.Error()}
	}()
	<-entered
	stopped := make(chan struct{})
	go func() { h.stop(); close(stopped) }()
	<-h.stopping
	close(leave)
	if got := <-answered; got.status != http.StatusServiceUnavailable || !strings.Contains(got.body, "stopping") {
		t.Errorf("the last answer: %d %s", got.status, got.body)
	}
	<-stopped
}

func TestPublicMustBeAnAddress(t *testing.T) {
	t.Parallel()
	h := open(t)
	for _, bad := range []string{"roofs.example", "ftp://roofs.example", "https://", "https://roofs.example/app", "https://a b"} {
		d := h.Deps
		d.Public, d.Metrics = bad, prometheus.NewRegistry()
		if _, err := New(d); err == nil {
			t.Errorf("%q was taken for an address", bad)
		}
	}
	if _, err := New(h.Deps); err == nil {
		t.Error("two servers count in one registry")
	}
}
