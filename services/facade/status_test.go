package facade

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"

	"bydark/services/access"
)

// The page for whoever runs the service says what is well and what is not, and shows
// everything that is measured.
func TestStatusPage(t *testing.T) {
	t.Parallel()
	h := open(t, func(d *Deps) {
		d.Ready = append(d.Ready, Check{"views", func(context.Context) error { return errors.New("secret of the database") }})
	})
	h.send1(h.b, "theirs", `"type":"deck-opened","where":"A"`)
	if got := h.ask(get, "/status", h.a.token(access.Manager), ""); got.status != http.StatusForbidden {
		t.Errorf("a manager: %d", got.status)
	}
	got := h.ask(get, "/status", h.a.token(access.Owner), "")
	if got.status != http.StatusOK {
		t.Fatalf("%d %s", got.status, got.body)
	}
	for _, want := range []string{"<strong>log</strong>: well", "<strong>views</strong>: NOT WELL", "bydark_reports_total", "POST /v1/jobs/{job}/reports", "half within"} {
		if !strings.Contains(got.body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, not := range []string{"secret of the database", "theirs", "Aspen"} {
		if strings.Contains(got.body, not) {
			t.Errorf("the page says %q", not)
		}
	}
	measured, err := h.Metrics.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range measured {
		// The answers have a table by route, without these words.
		if name := f.GetName(); !strings.Contains(got.body, f.GetHelp()) && !strings.HasPrefix(name, "bydark_http_answer") {
			t.Errorf("the page does not show %s", name)
		}
	}
}

// S59: profiles are the owner's, one at a time, and end with the service.
func TestProfiles(t *testing.T) {
	t.Parallel()
	h := open(t)
	for _, name := range []string{"goroutine", "heap", "cpu"} {
		if got := h.ask(get, "/debug/pprof/"+name, h.a.token(access.Manager), ""); got.status != http.StatusForbidden {
			t.Errorf("%s for a manager: %d", name, got.status)
		}
		got := h.ask(get, "/debug/pprof/"+name, h.a.token(access.Owner), "")
		unpacked, err := gzip.NewReader(strings.NewReader(got.body))
		if got.status != http.StatusOK || err != nil {
			t.Errorf("%s: %d, %v", name, got.status, err)
			continue
		}
		if text, err := io.ReadAll(unpacked); err != nil || bytes.Contains(text, []byte(h.a.token(access.Owner))) || len(text) == 0 {
			t.Errorf("%s: %d bytes, %v", name, len(text), err)
		}
	}
	for _, bad := range []string{"0", "31", "-1", "1e1", "x"} {
		if got := h.ask(get, "/debug/pprof/cpu?seconds="+bad, h.a.token(access.Owner), ""); got.status != http.StatusUnprocessableEntity {
			t.Errorf("%s seconds: %d", bad, got.status)
		}
	}
	if got := h.ask(get, "/debug/pprof/cmdline", h.a.token(access.Owner), ""); got.status != http.StatusNotFound {
		t.Errorf("the command line: %d", got.status)
	}
}
