package facade

import (
	"encoding/json/v2"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"bydark/services/access"
)

// marker is in every name and word of company b, and nowhere else.
const marker = "Zirkonbaum"

// marked writes the marker wherever company b can write.
func (h *house) marked() {
	h.t.Helper()
	owner := h.b.token(access.Owner)
	job := strings.Replace(newShed("zirkonbaum"), "Shed by the mill", marker, 1)
	if got := h.ask(post, "/v1/jobs", owner, job); got.status != http.StatusCreated {
		h.t.Fatalf("open a job: %d %s", got.status, got.body)
	}
	if got := h.ask(post, "/v1/people", owner, `{"name":"`+marker+`","role":"hand"}`); got.status != http.StatusOK {
		h.t.Fatalf("add a person: %d %s", got.status, got.body)
	}
	for _, members := range []string{
		`"type":"punch-raised","where":"A","what":"` + marker + `","blocks":"night"`,
		`"type":"material-ordered","order":"` + marker + `","lines":[{"material":"felt","amount":"3 rolls","due":"2026-12-24"}]`,
	} {
		body := `{"reports":[{"id":"` + uuid.NewString() + `","at":"2026-05-04T15:30:00Z",` + members + `}]}`
		if got := h.ask(post, "/v1/jobs/zirkonbaum/reports", owner, body); !strings.Contains(got.body, `"accepted"`) {
			h.t.Fatalf("send a report: %d %s", got.status, got.body)
		}
	}
	for _, path := range []string{"/v1/people", "/v1/jobs?after=5", "/v1/jobs/zirkonbaum/punch?after=5", "/v1/jobs/zirkonbaum/record?after=5", "/jobs/zirkonbaum"} {
		if got := h.ask(get, path, owner, ""); !strings.Contains(got.body, marker) {
			h.t.Errorf("its own company does not see the marker in %s: %d %.300s", path, got.status, got.body)
		}
	}
}

// S06: nothing of another company comes out of any route, in any byte of body or
// header, whoever asks and however: totals, lists, searches by time, problems, counters,
// descriptions.
func TestNothingOfAnotherCompanyAnywhere(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.marked()
	if got := h.ask(post, "/v1/jobs", h.a.token(access.Owner), newShed("ours")); got.status != http.StatusCreated {
		t.Fatalf("open a job: %d %s", got.status, got.body)
	}
	secret := []string{marker, "zirkonbaum", "Aspen", string(h.b.company), string(h.b.people[access.Hand].ID), string(h.b.tokens[access.Hand].ID)}
	asked := 0
	for _, rt := range h.list {
		if rt.method != get || strings.Contains(rt.path, "/live") {
			continue
		}
		for _, job := range []string{"ours", "zirkonbaum", "theirs"} {
			path := h.at(rt, false)
			if strings.Contains(rt.path, "{job}") {
				path = strings.NewReplacer("never-was", job).Replace(path)
			}
			for _, query := range []string{"", "?known=2026-05-04T00:00:00Z", "?at=2027-05-04T00:00:00Z", "?after=1", "?q=" + marker} {
				for _, token := range []string{"", h.a.token(access.Owner), h.a.token(access.Hand)} {
					got := h.ask(rt.method, path+query, token, "")
					asked++
					text := got.body
					for name, values := range got.header {
						text += name + strings.Join(values, "")
					}
					text = strings.NewReplacer("/zirkonbaum", "", "zirkonbaum%3F", "", `"zirkonbaum"`, "", "%2Fzirkonbaum", "", "q="+marker, "", "q%3D"+marker, "").Replace(text) // what was asked for
					for _, s := range secret {
						if strings.Contains(text, s) {
							t.Errorf("GET %s%s tells %q: %.300s", path, query, s, text)
						}
					}
				}
			}
		}
	}
	if asked < 500 {
		t.Errorf("only %d questions were asked", asked)
	}
}

// members are the names of all members of a document, by their way into it.
func membersOf(doc any, way string, into map[string]bool) {
	switch doc := doc.(type) {
	case map[string]any:
		for name, v := range doc {
			into[way+"/"+name] = true
			membersOf(v, way+"/"+name, into)
		}
	case []any:
		for _, v := range doc {
			membersOf(v, way, into)
		}
	}
}

// S03: what a role may not see is no member of any answer that it gets.
func TestMembersByRole(t *testing.T) {
	t.Parallel()
	h := open(t)
	// Words of members, and the action that lets somebody see them.
	kept := map[string]access.Action{
		"token": access.ManagePeople, "tokens": access.ManagePeople, "hash": "nobody", "secret": "nobody", "session": "nobody",
		"price": access.SeePrices, "prices": access.SeePrices, "cost": access.SeePrices, "rate": access.SeePrices, "phone": access.SeePeople, "mail": access.ManagePeople,
	}
	for _, role := range access.Roles() {
		for _, rt := range h.list {
			if rt.method != get || rt.answers != "" {
				continue
			}
			path := strings.ReplaceAll(h.at(rt, false), "never-was", "theirs")
			got := h.ask(rt.method, path, h.b.token(role), "")
			if got.status != http.StatusOK {
				continue
			}
			var doc any
			if err := json.Unmarshal([]byte(got.body), &doc); err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			found := map[string]bool{}
			membersOf(doc, "", found)
			for way := range found {
				name := way[strings.LastIndex(way, "/")+1:]
				if action, ok := kept[name]; ok && !access.May(role, action) {
					t.Errorf("%s is shown %s by GET %s", role, way, path)
				}
			}
			if role == access.Hand && slices.Contains([]string{"/v1/people"}, path) {
				t.Errorf("a hand is shown %s", path)
			}
		}
	}
}
