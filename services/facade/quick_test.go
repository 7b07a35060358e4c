package facade

import (
	"encoding/json/v2"
	"fmt"
	"maps"
	"net/http"
	"strings"
	"testing"

	"bydark/services/access"

	"github.com/google/go-cmp/cmp"
)

// TestReportsPastHuma sends each body twice: once so that it may be answered past huma, and once so that huma reads it. The answers are the
// same, headers and all, for what is right and for what is wrong.
func TestReportsPastHuma(t *testing.T) {
	t.Parallel()
	h := open(t)
	token := h.a.token(access.Owner)
	if got := h.ask(post, "/v1/jobs", token, newShed("ours")); got.status != http.StatusCreated {
		t.Fatalf("%d %s", got.status, got.body)
	}
	const good = `{"id":"0194f7e0-0000-7000-8000-000000000001","type":"punch-raised","at":"2026-05-04T12:00:00Z","where":"roof","what":"a scratch","blocks":"nothing"}`
	// Sent before, so that both ways find it taken.
	if got := h.ask(post, "/v1/jobs/ours/reports", token, `{"reports":[`+good+`]}`); got.status != http.StatusOK {
		t.Fatalf("%d %s", got.status, got.body)
	}
	for _, c := range []struct {
		path, token, body string
		status            int
	}{
		{"ours", token, `{"reports":[` + good + `]}`, http.StatusOK},
		{"ours", token, `{"reports":[` + good + `,{"id":"x"},` + good + `]}`, http.StatusOK},
		{"ours", token, `{"reports":[1,null,"x",[]]}`, http.StatusOK},
		{"ours", token, `{"reports":[{"id":"x","id":"y"},{"what":"bad\u0000"},{"what":"\ud800"},{"what":"` + "\xff" + `"},{"deep":` + strings.Repeat("[", 60) + strings.Repeat("]", 60) + `},{"n":1e999},` + good + `]}`, http.StatusOK},
		{"ours", token, `{"reports":[],"reports":[]}`, http.StatusBadRequest},
		{"ours", token, `{"reports":[{"what":NaN}]}`, http.StatusBadRequest},
		{"ours", token, `{"reports":[]}`, http.StatusUnprocessableEntity},
		{"ours", token, `{"reports":null}`, 0},
		{"ours", token, `{}`, 0},
		{"ours", token, `null`, 0},
		{"ours", token, `[]`, 0},
		{"ours", token, `{"reports":{}}`, 0},
		{"ours", token, `{"reports":[` + good + `],"more":1}`, http.StatusBadRequest},
		{"ours", token, `{"Reports":[` + good + `]}`, http.StatusBadRequest},
		{"ours", token, `{"reports":[` + good + `]} x`, http.StatusBadRequest},
		{"ours", token, `{"reports":[`, http.StatusBadRequest},
		{"none", token, `{"reports":[` + good + `]}`, http.StatusNotFound},
		{"ours", h.b.token(access.Owner), `{"reports":[` + good + `]}`, http.StatusNotFound},
		{"ours?after=1", token, `{"reports":[` + good + `]}`, http.StatusBadRequest},
	} {
		job, query, found := strings.Cut(c.path, "?")
		if found {
			query = "?" + query
		}
		path := "/v1/jobs/" + job + "/reports" + query
		quick := h.ask(post, path, c.token, c.body)
		whole := h.ask(post, path, c.token, c.body, func(r *http.Request) { r.Header.Set("Accept", "application/json;q=0.9") })
		if c.status != 0 && quick.status != c.status {
			t.Errorf("%s %s: %d %s, want %d", c.path, c.body, quick.status, quick.body, c.status)
		}
		for _, header := range []http.Header{quick.header, whole.header} {
			maps.DeleteFunc(header, func(name string, _ []string) bool { return name == "Date" })
		}
		if diff := cmp.Diff(fmt.Sprint(whole.status, whole.header, string(whole.body)), fmt.Sprint(quick.status, quick.header, string(quick.body))); diff != "" {
			t.Errorf("%s %s: by huma -, past it +\n%s", c.path, c.body, diff)
		}
	}
}

// One report that is not to be read, for its text or for a name that stands twice, is refused; those before and behind it are taken.
func TestBadReportStopsNoOther(t *testing.T) {
	t.Parallel()
	h := open(t)
	token := h.a.token(access.Owner)
	if got := h.ask(post, "/v1/jobs", token, newShed("ours")); got.status != http.StatusCreated {
		t.Fatalf("%d %s", got.status, got.body)
	}
	report := func(n int, what string) string {
		return fmt.Sprintf(`{"id":"0194f7e0-0000-7000-8000-%012d","type":"punch-raised","at":"2026-05-04T12:00:00Z","where":"roof","what":%s,"blocks":"nothing"}`, n, what)
	}
	bad := []struct{ what, code, where string }{
		{`"bad\u0000"`, "unreadable-text", "/what"},
		{`"a","what":"b"`, "doubled-member", "/what"},
		{`"\ud800"`, "unreadable", "/what"},
		{"\"\xff\"", "unreadable", "/what"},
		{strings.Repeat("[", 60) + strings.Repeat("]", 60), "too-deep", ""},
	}
	batch := []string{report(0, `"good"`)}
	for i, b := range bad {
		batch = append(batch, report(2*i+1, b.what), report(2*i+2, `"good"`))
	}
	got := h.ask(post, "/v1/jobs/ours/reports", token, `{"reports":[`+strings.Join(batch, ",")+`]}`)
	var answer resultsDoc
	if err := json.Unmarshal([]byte(got.body), &answer); err != nil || got.status != http.StatusOK || len(answer.Results) != len(batch) {
		t.Fatalf("%d %s", got.status, got.body)
	}
	for i, r := range answer.Results {
		if i%2 == 0 {
			if r.Status != "accepted" {
				t.Errorf("report %d: %+v %+v", i, r, r.Problem)
			}
			continue
		}
		b := bad[i/2]
		if r.Status != "refused" || r.Problem == nil || r.Problem.Code != b.code || b.where != "" && r.Problem.Where != b.where || r.ID != fmt.Sprintf("0194f7e0-0000-7000-8000-%012d", i) {
			t.Errorf("report %d, %q: %+v %+v", i, b.what, r, r.Problem)
		}
	}
}
