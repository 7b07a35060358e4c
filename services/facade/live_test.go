package facade

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"bydark/projections"
	"bydark/services/access"
)

// listener is a client of the live stream.
type listener struct {
	t      testing.TB
	answer *http.Response
	lines  *bufio.Scanner
	hangUp func()
}

// listen opens a stream and reads its first line, so that it is known to be open.
func (h *house) listen(token string, edits ...func(*http.Request)) *listener {
	h.t.Helper()
	ctx, cancel := context.WithCancel(h.t.Context())
	r, err := http.NewRequestWithContext(ctx, get, h.url+"/v1/live", nil)
	if err != nil {
		h.t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+token)
	for _, edit := range edits {
		edit(r)
	}
	a, err := http.DefaultTransport.RoundTrip(r) //nolint:bodyclose // hangUp closes it
	if err != nil {
		h.t.Fatal(err)
	}
	l := &listener{h.t, a, bufio.NewScanner(a.Body), func() { cancel(); _ = a.Body.Close() }} // it may have ended by itself
	h.t.Cleanup(l.hangUp)
	if a.StatusCode == http.StatusOK {
		if a.Header.Get("Content-Type") != "text/event-stream" || a.Header.Get("X-Accel-Buffering") != "no" || a.Header.Get("Cache-Control") != "no-store" {
			h.t.Errorf("header %v", a.Header)
		}
		if first := l.next(); first != ": open" {
			h.t.Errorf("begins with %q", first)
		}
	}
	return l
}

// next is the next line that is not empty; empty at the end.
func (l *listener) next() string {
	for l.lines.Scan() {
		if text := l.lines.Text(); text != "" {
			return text
		}
	}
	return ""
}

// S05: a person hears of their own company, and of nothing else.
func TestLive(t *testing.T) {
	t.Parallel()
	h := open(t)
	larch, aspen := h.listen(h.a.token(access.Hand)), h.listen(h.b.token(access.Owner))
	back := h.listen(h.a.token(access.Lead), header("Last-Event-ID", "7"))
	if event, data := back.next(), back.next(); event != "event: changed" || data != "data: {}" {
		t.Errorf("who comes back hears %q %q", event, data)
	}
	for i := range uint64(10_000) {
		h.feed.tell(projections.Changed{Company: "larch", Job: "ours", Sequence: 2 * i}, projections.Changed{Company: "aspen", Job: "theirs", Sequence: 2*i + 1})
		for _, l := range []struct {
			*listener
			id, data string
		}{
			{larch, "id: " + text(2*i), `data: {"job":"ours","sequence":` + text(2*i) + `}`},
			{aspen, "id: " + text(2*i+1), `data: {"job":"theirs","sequence":` + text(2*i+1) + `}`},
		} {
			if i == 0 && l.listener == larch {
				l.data = `data: {"job":"ours"}`
			}
			if id, event, data := l.next(), l.next(), l.next(); id != l.id || event != "event: changed" || data != l.data {
				t.Fatalf("heard %q %q %q, want %q %q", id, event, data, l.id, l.data)
			}
		}
	}
	h.feed.tell(projections.Changed{Sequence: 20_001})
	if id, _, data := larch.next(), larch.next(), larch.next(); id != "id: 20001" || data != `data: {"sequence":20001}` {
		t.Errorf("a change of anything: %q %q", id, data)
	}
}

func text(n uint64) string { return strconv.FormatUint(n, 10) }

// S05, S07: the stream ends with what gave the right to it.
func TestLiveEndsWithTheRight(t *testing.T) {
	t.Parallel()
	h := open(t)
	owner := h.a.people[access.Owner]
	cookie, _, _ := strings.Cut(h.signIn(h.a.token(access.Manager), "/").header.Get("Set-Cookie"), ";")
	session := func(r *http.Request) { r.Header.Del("Authorization"); r.Header.Set("Cookie", cookie) }
	for what, c := range map[string]struct {
		l   *listener
		end func() error
	}{
		"token revoked": {h.listen(h.a.token(access.Hand)), func() error {
			return h.People.RevokeToken(t.Context(), owner, h.a.people[access.Hand].ID, h.a.token(access.Hand))
		}},
		"person removed": {h.listen(h.a.token(access.Lead)), func() error { return h.People.RemovePerson(t.Context(), owner, h.a.people[access.Lead].ID) }},
		"signed out": {h.listen("", session), func() error {
			if got := h.ask(post, "/sign-out", "", "", header("Cookie", cookie)); got.status != http.StatusSeeOther {
				return errors.New(got.body)
			}
			return nil
		}},
		"hung up": {h.listen(h.a.token(access.Owner)), nil},
	} {
		stays := h.listen(h.b.token(access.Hand))
		if c.end == nil {
			c.l.hangUp()
		} else if err := c.end(); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if rest, err := io.ReadAll(c.l.answer.Body); c.end != nil && (err != nil || len(rest) > 0) {
			t.Errorf("%s: %q, %v", what, rest, err)
		}
		h.feed.tell(projections.Changed{Company: "aspen", Job: "theirs", Sequence: 7})
		if got := stays.next(); got != "id: 7" {
			t.Errorf("%s: another's stream says %q", what, got)
		}
		stays.hangUp()
	}
}

func TestLiveBounds(t *testing.T) {
	t.Parallel()
	h := open(t)
	for range mostStreams {
		h.listen(h.a.token(access.Hand))
	}
	if got := h.ask(get, "/v1/live", h.a.token(access.Hand), ""); got.status != http.StatusTooManyRequests {
		t.Errorf("one too many: %d", got.status)
	}
	h.listen(h.a.token(access.Lead))
}

// The service stops though streams are open, and tells nobody that it was a fault.
func TestLiveEndsWithTheService(t *testing.T) {
	t.Parallel()
	h := open(t)
	l := h.listen(h.a.token(access.Hand))
	h.stop()
	if got := l.next(); got != "" {
		t.Errorf("heard %q", got)
	}
	if h.feed.open() != 0 {
		t.Errorf("%d subscriptions are left", h.feed.open())
	}
	if strings.Contains(h.logged.String(), "fault") {
		t.Error(h.logged)
	}
}
