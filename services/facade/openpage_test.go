package facade

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"bydark/services/access"
	"bydark/services/assembly"
)

// A firm starts without a program: the owner opens a roof and gives people their tokens on pages.
func TestAFirmStartsOnPages(t *testing.T) {
	t.Parallel()
	h := open(t)
	owner := h.a.token(access.Owner)
	fill := url.Values{
		"name": {"Barn by the creek"}, "lat": {"41.2"}, "lon": {"-74.6"}, "zone": {"America/New_York"}, "assembly": {assembly.Shipped()[0]},
		"shape": {"gable"}, "along": {"40'"}, "across": {"30'"}, "pitch": {"6/12"}, "faces": {"west"}, "eave_height": {"10'"},
	}
	send := func() reply { return h.ask(post, "/open", owner, fill.Encode(), header("Content-Type", formType)) }
	before := h.written()
	fill.Set("look", "1")
	if got := send(); got.status != http.StatusOK || !strings.Contains(got.body, "2 planes, 7 edges, 1342 sqft of roof.") || !strings.Contains(got.body, "<svg") {
		t.Errorf("looked at first: %d %s", got.status, got.body)
	}
	fill.Del("look")
	fill.Set("pitch", "flat")
	if got := send(); got.status/100 != 4 || !strings.Contains(got.body, "Not opened") || !strings.Contains(got.body, `value="flat"`) {
		t.Errorf("no pitch: %d %s", got.status, got.body)
	}
	if h.written() != before {
		t.Error("what was looked at or refused was written")
	}
	fill.Set("pitch", "6/12")
	got := send()
	if got.status != http.StatusSeeOther || got.header.Get("Location") != "/jobs/barn-by-the-creek" {
		t.Fatalf("%d %s", got.status, got.body)
	}
	if got := h.ask(get, "/jobs/barn-by-the-creek", owner, ""); got.status != http.StatusOK || !strings.Contains(got.body, "Nothing open") {
		t.Errorf("the new roof: %d %s", got.status, got.body)
	}
	if got := send(); got.status != http.StatusSeeOther {
		t.Errorf("the same sent twice: %d %s", got.status, got.body)
	}
	fill.Set("pitch", "8/12")
	if got := send(); got.status != http.StatusConflict || !strings.Contains(got.body, "an id that no job of the company has") {
		t.Errorf("another roof under the same id: %d %s", got.status, got.body)
	}

	got = h.ask(post, "/people", owner, "name=Rowan&role=lead", header("Content-Type", formType))
	_, token, _ := strings.Cut(got.body, `<code>`)
	token, _, _ = strings.Cut(token, `</code>`)
	if got.status != http.StatusOK || !strings.HasPrefix(token, "bydark_") {
		t.Fatalf("no token: %d %s", got.status, got.body)
	}
	if got := h.ask(get, "/", token, ""); got.status != http.StatusOK || !strings.Contains(got.body, "Rowan, lead") {
		t.Errorf("the new lead's board: %d %s", got.status, got.body)
	}
	if got := h.ask(get, "/people", owner, ""); strings.Contains(got.body, token) {
		t.Error("the token is shown a second time")
	}
	if got := h.ask(post, "/people", owner, "name=Rowan&role=king", header("Content-Type", formType)); got.status/100 != 4 || !strings.Contains(got.body, "NOT DONE") {
		t.Errorf("no role: %d %s", got.status, got.body)
	}
	hand := string(h.a.people[access.Hand].ID)
	for _, act := range []struct{ do, with string }{{"role", "role=lead"}, {"revoke", "token=" + string(h.a.tokens[access.Hand].ID)}, {"remove", ""}} {
		if got := h.ask(post, "/people/"+hand+"/"+act.do, owner, act.with, header("Content-Type", formType)); got.status != http.StatusSeeOther {
			t.Errorf("%s: %d %s", act.do, got.status, got.body)
		}
	}
	if got := h.ask(get, "/", h.a.token(access.Hand), ""); got.status == http.StatusOK {
		t.Error("who was removed still comes in")
	}
}
