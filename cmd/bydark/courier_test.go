package main

import (
	"encoding/json/v2"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/services/access"
	"bydark/services/courier"
)

// heard is one message at a receiver; answer lets it be answered.
type heard struct {
	id     string
	answer chan struct{}
}

// F42: killed while a receiver has a message and has not answered, the program tells it
// again under the same id, and loses nothing. What it was told before may come once
// more too: at least once is what is promised.
func TestKilledBetweenSendingAndAcknowledging(t *testing.T) {
	t.Parallel()
	got := make(chan heard, 100)
	var secret string
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return // the sender was killed
		}
		hook, err := standardwebhooks.NewWebhook(secret)
		if err != nil {
			t.Error(err)
			return
		}
		if err := hook.Verify(body, r.Header); err != nil {
			t.Errorf("%s is not signed: %v", body, err)
		}
		h := heard{r.Header.Get("webhook-id"), make(chan struct{})}
		got <- h
		select {
		case <-h.answer:
		case <-r.Context().Done():
		}
	}))
	t.Cleanup(receiver.Close)
	dir, token := prepare(t)
	served := launch(t, dir, "--webhook-allow", "127.0.0.0/8")
	c := hire(&client{t: t, url: served.url}, token)
	c.open("barn")
	var added struct{ Subscriber, Secret string }
	c.must(http.MethodPost, "/v1/subscribers", token, map[string]any{"channel": "webhook", "to": receiver.URL, "wants": []string{"everything"}}, &added)
	secret = added.Secret
	next := func() heard {
		t.Helper()
		select {
		case h := <-got:
			return h
		case <-time.After(2 * time.Minute):
			t.Fatal("nothing was told in two minutes")
		}
		return heard{}
	}
	var before []string
	for round := range journaltest.Rounds(t, 2) {
		report := tell(string(rune('a'+round)), "panel-set", round, roofReport{"piece": "A-01"})
		c.accept("barn", report)
		first := next()
		served.kill()
		http.DefaultClient.CloseIdleConnections()
		served = launch(t, dir, "--webhook-allow", "127.0.0.0/8")
		c.url = served.url
		if id, _ := report["id"].(string); !strings.HasPrefix(first.id, id) {
			t.Errorf("round %d: report %s is told as %s", round, id, first.id)
		}
		for again := next(); ; again = next() {
			close(again.answer)
			if again.id == first.id {
				break
			}
			if !slices.Contains(before, again.id) {
				t.Errorf("round %d: after the kill %s comes before %s", round, again.id, first.id)
			}
		}
		before = append(before, first.id)
	}
	c.accept("barn", tell("last", "panel-set", 10, roofReport{"piece": "A-02"}))
	for h := next(); !strings.HasPrefix(h.id, idOf("last")); h = next() {
		close(h.answer)
	}
}

// Subscribers through the door: who may, a secret that is shown once and is nowhere
// else; a receiver that is gone, and addresses that are ours.
func TestSubscribersThroughTheDoor(t *testing.T) {
	t.Parallel()
	well := make(chan struct{})
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		select {
		case <-well:
		default:
			w.WriteHeader(http.StatusGone)
		}
	}))
	t.Cleanup(receiver.Close)
	dir, token := prepare(t)
	served := launch(t, dir, "--webhook-allow", "127.0.0.0/8")
	c := hire(&client{t: t, url: served.url}, token)
	c.open("barn")
	var added struct{ Subscriber, Secret string }
	c.must(http.MethodPost, "/v1/subscribers", c.tokens[access.Manager], map[string]any{"channel": "webhook", "to": receiver.URL, "wants": []string{"punch"}}, &added)
	if added.Secret == "" || added.Subscriber == "" {
		t.Fatalf("added: %+v", added)
	}
	for _, path := range []string{"/v1/subscribers", "/subscribers"} {
		status, text := c.ask(http.MethodGet, path, token, "")
		if status != http.StatusOK || !strings.Contains(text, added.Subscriber) || strings.Contains(text, strings.TrimPrefix(added.Secret, "whsec_")) {
			t.Errorf("%s: %d\n%s", path, status, text)
		}
		if status, _ := c.ask(http.MethodGet, path, c.tokens[access.Lead], ""); status != http.StatusForbidden {
			t.Errorf("%s as a lead: %d", path, status)
		}
	}
	// Gone: it is stopped, and what happens waits for it.
	c.accept("barn", tell("dent", "punch-raised", 1, roofReport{"where": "A", "what": "A dent.", "blocks": "nothing"}))
	c.until("it is stopped", func() bool {
		_, text := c.ask(http.MethodGet, "/v1/subscribers", token, "")
		return strings.Contains(text, "410 Gone")
	})
	close(well)
	if status, text := c.ask(http.MethodPost, "/v1/subscribers/"+added.Subscriber+"/resume", token, ""); status != http.StatusNoContent {
		t.Errorf("resume: %d %s", status, text)
	}
	if status, text := c.ask(http.MethodDelete, "/v1/subscribers/"+added.Subscriber, token, ""); status != http.StatusNoContent {
		t.Errorf("remove: %d %s", status, text)
	}
	if status, _ := c.ask(http.MethodPost, "/v1/subscribers/"+added.Subscriber+"/stop", token, ""); status != http.StatusNotFound {
		t.Errorf("stop one that was removed: %d", status)
	}
	for to, code := range map[string]string{"http://192.168.0.1/": "kept-address", "https://169.254.169.254/": "kept-address", "http://hooks.larch.example/": "unreadable-address"} {
		status, text := c.ask(http.MethodPost, "/v1/subscribers", token, written(t, map[string]any{"channel": "webhook", "to": to}))
		var p roofProblem
		if err := json.Unmarshal([]byte(text), &p, json.MatchCaseInsensitiveNames(true)); err != nil || p.Code != code {
			t.Errorf("%s: %d %s", to, status, text)
		}
	}
}

// until asks until it is so.
func (c *client) until(what string, so func() bool) {
	c.t.Helper()
	for range 3000 { // each asks the service, which takes its time
		if so() {
			return
		}
	}
	c.t.Fatalf("it never came to be that %s", what)
}

// What could not be delivered is listed, read, sent again and dropped by verb.
func TestUndeliveredByVerb(t *testing.T) {
	t.Parallel()
	r := start(t)
	receiver := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	t.Cleanup(receiver.Close)
	c := r.crew
	c.open("barn")
	owner, err := r.people.Who(c.tokens[access.Owner])
	if err != nil {
		t.Fatal(err)
	}
	id, _, err := r.courier.Subscribe(t.Context(), owner, courier.Wish{By: events.Webhook, To: receiver.URL, Wants: []string{courier.Everything}})
	if err != nil {
		t.Fatal(err)
	}
	last := c.accept("barn", tell("dent", "punch-raised", 1, roofReport{"where": "A", "what": "A dent.", "blocks": "nothing"}))
	for range 3 {
		if err := r.journal.SetAside(t.Context(), journal.Aside{
			Company: string(owner.Company), Reader: string(id), Sequence: last, Subject: "roof." + string(owner.Company) + ".barn", Type: "bydark.punch.raised.v1", Reason: "it answered 500", Set: time.Now(),
		}); err != nil {
			t.Fatal(err)
		}
	}
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte(c.tokens[access.Owner]+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	verb := func(want int, args ...string) string {
		t.Helper()
		var out, errs strings.Builder
		args = append(append([]string{"undelivered"}, args...), "--server", c.url, "--token-file", token)
		if code := run(args, strings.NewReader(""), &out, &errs); code != want {
			t.Errorf("%q ends with %d: %s", args, code, errs.String())
		}
		return out.String() + errs.String()
	}
	var list struct{ Undelivered []undelivered }
	if err := json.Unmarshal([]byte(verb(0, "list", "--json")), &list, json.MatchCaseInsensitiveNames(true)); err != nil || len(list.Undelivered) != 3 {
		t.Fatalf("listed %+v, %v", list, err)
	}
	one, two, three := fmt.Sprint(list.Undelivered[0].Number), fmt.Sprint(list.Undelivered[1].Number), fmt.Sprint(list.Undelivered[2].Number)
	if got := verb(0, "read", one); !strings.Contains(got, "A dent.") || !strings.Contains(got, `"payload"`) {
		t.Errorf("read: %s", got)
	}
	if got := verb(0, "send", one); !strings.Contains(got, "1 of 1 done") {
		t.Errorf("send: %s", got)
	}
	if got := verb(1, "send", one, two); !strings.Contains(got, "1 of 2 done") || !strings.Contains(got, "There is no such thing here") {
		t.Errorf("send one that is gone: %s", got)
	}
	if got := verb(0, "drop", three); !strings.Contains(got, "1 of 1 done") {
		t.Errorf("drop: %s", got)
	}
	if got := verb(0); !strings.Contains(got, "0 could not be delivered.") {
		t.Errorf("list: %s", got)
	}
	if err := os.Chmod(token, 0o644); err != nil {
		t.Fatal(err)
	}
	if got := verb(2, "list"); !strings.Contains(got, "everybody") {
		t.Errorf("with a token that all may read: %s", got)
	}
}
