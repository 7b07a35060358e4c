package facade

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"bydark/events"
	"bydark/services/access"
)

// sees asks for a page of company b's job and tells what it says and what it does not.
func (h *house) sees(role events.Role, path string, says, not []string) {
	h.t.Helper()
	got := h.ask(get, "/jobs/theirs/"+path, h.b.token(role), "", header("Accept", "text/html"))
	if got.status != http.StatusOK {
		h.t.Errorf("%s: %d %s", path, got.status, got.body)
	}
	_, main, _ := strings.Cut(got.body, "<main")
	for _, w := range says {
		if !strings.Contains(main, w) {
			h.t.Errorf("%s does not say %q:\n%s", path, w, main)
		}
	}
	for _, w := range not {
		if strings.Contains(main, w) {
			h.t.Errorf("%s says %q", path, w)
		}
	}
}

// A form offers the places that have such steps, then the steps of the place that are not
// whole; what is done is folded away and can be reached.
func TestFormsOfferWhatIsLeft(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.sees(access.Lead, "report/trim-installed", []string{"?where=eave-1", "?where=rake-1"}, []string{"?where=A"})
	h.sees(access.Lead, "report/layer-laid", []string{"?where=A", "?where=eave-1"}, nil)
	h.sees(access.Lead, "report/trim-installed?where=eave-1", []string{`name="step" value="eave-trim"`, `name="where" value="eave-1"`}, []string{`name="step" value="rake-trim"`, `name="step" value="felt"`})
	h.sees(access.Lead, "report/layer-laid?where=A", []string{`name="step" value="felt"`, `name="step" value="ice-barrier"`, "Along the edges of A."}, []string{`name="step" value="eave-trim"`})
	h.sees(access.Lead, "report/trim-installed?where=nowhere", []string{"?where=eave-1"}, []string{`name="where"`})
	h.send1(h.b, "theirs", `"type":"trim-installed","where":"eave-1","step":"eave-trim"`)
	h.sees(access.Lead, "report/trim-installed?where=eave-1", []string{"all=1"}, []string{`name="step" value="eave-trim"`})
	h.sees(access.Lead, "report/trim-installed?where=eave-1&all=1", []string{`name="step" value="eave-trim"`, "Done already."}, nil)

	h.sees(access.Lead, "report/panel-cut", []string{`value="A-01"`}, []string{"all=1"})
	h.send1(h.b, "theirs", `"type":"panel-cut","piece":"A-01","length":"16'","from":{"coil":"C-1"}`)
	h.sees(access.Lead, "report/panel-cut", []string{`value="A-02"`, "all=1"}, []string{`value="A-01"`})
	h.sees(access.Lead, "report/panel-cut?all=1", []string{`value="A-01"`}, nil)
	h.sees(access.Lead, "report/panel-cut?piece=A-01", []string{`value="A-01" selected`}, nil)
	h.sees(access.Lead, "report/panel-set", []string{`value="A-01"`, ", cut"}, nil)
}

// Who withdraws sees their own first and the newest first, and nothing that they may not.
func TestReportsToWithdraw(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.sees(access.Hand, "report/report-withdrawn", []string{"There is nothing to choose."}, nil)
	h.sees(access.Lead, "report/report-withdrawn", []string{"loose"}, []string{"Job opened"})
	body := url.Values{"id": {uuid.NewString()}, "at": {time.Now().UTC().Format(time.RFC3339)}, "where": {"A"}}.Encode()
	if got := h.ask(post, "/jobs/theirs/report/deck-opened", h.b.token(access.Hand), body, header("Content-Type", formType)); got.status != http.StatusSeeOther {
		t.Fatalf("%d %s", got.status, got.body)
	}
	h.sees(access.Hand, "report/report-withdrawn", []string{"Deck opened on A", "by you"}, []string{"loose"})
	h.sees(access.Lead, "report/report-withdrawn?page=1", []string{"There is nothing to choose.", "Later ones"}, nil)
}

// An order of several materials goes by one form, and more lines can be asked for with what was filled in kept.
func TestFormOfSeveralLines(t *testing.T) {
	t.Parallel()
	h := open(t)
	token := h.b.token(access.Purchasing)
	fill := url.Values{
		"id": {uuid.NewString()}, "at": {time.Now().UTC().Format(time.RFC3339)}, "order": {"P-1"},
		"materiallines": {"clip", "", "felt"}, "amountlines": {"12 each", "", "3 rolls"}, "duelines": {"2026-05-20", "", ""},
	}
	send := func(kind string) reply {
		return h.ask(post, "/jobs/theirs/report/"+kind, token, fill.Encode(), header("Content-Type", formType))
	}
	fill.Set("more", "1")
	before := h.written()
	if got := send("material-ordered"); got.status != http.StatusOK || !strings.Contains(got.body, "Line 11") || !strings.Contains(got.body, `value="3 rolls"`) || h.written() != before {
		t.Errorf("more lines: %d %s", got.status, got.body)
	}
	fill.Del("more")
	if got := send("material-ordered"); got.status != http.StatusSeeOther {
		t.Fatalf("%d %s", got.status, got.body)
	}
	fill.Set("id", uuid.NewString())
	fill["amountlines"], fill["shortlines"] = []string{"", "", "2 rolls"}, []string{"12 each", "", "1 roll"}
	if got := send("material-received"); got.status != http.StatusSeeOther {
		t.Fatalf("%d %s", got.status, got.body)
	}
	got := h.ask(get, "/v1/jobs/theirs/record", token, "").body
	for _, w := range []string{"12 each", "3 rolls", "2 rolls", "0 each"} {
		if !strings.Contains(got, w) {
			t.Errorf("the record does not tell %s: %s", w, got)
		}
	}
	fill.Set("id", uuid.NewString())
	fill["amountlines"], fill["shortlines"] = []string{"12 each", "", "3 bananas"}, nil
	if got := send("material-received"); got.status/100 != 4 || !strings.Contains(got.body, "because of: line 2, How much came") {
		t.Errorf("a wrong unit: %d %s", got.status, got.body)
	}
}
