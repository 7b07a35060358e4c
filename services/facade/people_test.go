package facade

import (
	"encoding/json/v2"
	"net/http"
	"strings"
	"sync"
	"testing"

	"bydark/services/access"
)

func decode[T any](t *testing.T, r reply, status int) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(r.body), &v, json.RejectUnknownMembers(true)); err != nil || r.status != status {
		t.Fatalf("%d %s: %v", r.status, r.body, err)
	}
	return v
}

// One person's way from being added to being removed, over HTTP.
func TestPeople(t *testing.T) {
	t.Parallel()
	h := open(t)
	owner := h.a.token(access.Owner)
	ike := decode[addedPerson](t, h.ask(post, "/v1/people", owner, `{"name":"Ike Fennimore","role":"hand"}`), http.StatusOK).Person
	issued := decode[issuedToken](t, h.ask(post, "/v1/people/"+string(ike)+"/tokens", owner, ""), http.StatusOK)
	me := func() self { return decode[self](t, h.ask(get, "/v1/me", issued.Token, ""), http.StatusOK) }
	if got := me(); got.Person != ike || got.Role != access.Hand || got.Company != h.a.company || got.CompanyName != "Larch" || len(got.May) == 0 {
		t.Errorf("he is %+v", got)
	}
	if got := h.ask(put, "/v1/people/"+string(ike)+"/role", owner, `{"role":"lead"}`); got.status != http.StatusNoContent || got.body != "" {
		t.Errorf("role: %d %s", got.status, got.body)
	}
	if got := me(); got.Role != access.Lead {
		t.Errorf("he is %+v", got)
	}
	// A lead sees who there is, and no tokens.
	if got := h.ask(get, "/v1/people", issued.Token, ""); got.status != http.StatusOK || strings.Contains(got.body, "tokens") || strings.Contains(got.body, "Aspen") {
		t.Errorf("people: %d %s", got.status, got.body)
	}
	list := decode[peopleList](t, h.ask(get, "/v1/people", owner, ""), http.StatusOK)
	if len(list.People) != len(access.Roles())+1 {
		t.Errorf("people: %+v", list)
	}
	for _, byItself := range []bool{false, true} {
		name := string(issued.ID)
		if byItself {
			name = issued.Token
		}
		if got := h.ask(del, "/v1/people/"+string(ike)+"/tokens/"+name, owner, ""); got.status != http.StatusNoContent {
			t.Errorf("revoke: %d %s", got.status, got.body)
		}
		if got := h.ask(get, "/v1/me", issued.Token, ""); got.status != http.StatusUnauthorized {
			t.Errorf("revoked: %d %s", got.status, got.body)
		}
		issued = decode[issuedToken](t, h.ask(post, "/v1/people/"+string(ike)+"/tokens", owner, ""), http.StatusOK)
	}
	if got := h.ask(del, "/v1/people/"+string(ike), owner, ""); got.status != http.StatusNoContent {
		t.Errorf("remove: %d %s", got.status, got.body)
	}
	if got := h.ask(get, "/v1/me", issued.Token, ""); got.status != http.StatusUnauthorized {
		t.Errorf("removed: %d %s", got.status, got.body)
	}
}

func TestPeopleRefusals(t *testing.T) {
	t.Parallel()
	h := open(t)
	owner := h.a.token(access.Owner)
	self := "/v1/people/" + string(h.a.people[access.Owner].ID)
	for _, c := range []struct {
		method, path, body string
		status             int
		code, where        string
	}{
		{post, "/v1/people", `{"name":"","role":"hand"}`, 400, "unreadable-value", "/name"},
		{post, "/v1/people", `{"name":"  ","role":"hand"}`, 400, "unreadable-name", "/name"},
		{post, "/v1/people", `{"name":"a\u202eb","role":"hand"}`, 400, "unreadable-name", "/name"},
		{post, "/v1/people", `{"name":"a\r\nSet-Cookie: x","role":"hand"}`, 400, "unreadable-name", "/name"},
		{post, "/v1/people", `{"name":"Ike"}`, 400, "missing-member", "/role"},
		{post, "/v1/people", `{"name":"Ike","role":"boss"}`, 400, "unreadable-value", "/role"},
		{post, "/v1/people", `{"name":7,"role":"hand"}`, 400, "unreadable-value", "/name"},
		{post, "/v1/people", `{"name":null,"role":"hand"}`, 400, "unreadable-value", "/name"},
		{post, "/v1/people?role=hand", `{"name":"Ike","role":"hand"}`, 400, "unknown-parameter", "?role"},
		{put, self + "/role", `{"role":"hand"}`, 409, "last-owner", string(h.a.people[access.Owner].ID)},
		{del, self, "", 409, "last-owner", string(h.a.people[access.Owner].ID)},
		{del, "/v1/people/nobody", "", 404, "not-found", ""},
	} {
		got := h.ask(c.method, c.path, owner, c.body)
		if p := got.problem(t); got.status != c.status || p.Code != c.code || p.Where != c.where || p.Detail == "" || p.Title == "" || p.Kind != "about:blank" {
			t.Errorf("%s %s %s: %d %s\nwant %d %s at %q", c.method, c.path, c.body, got.status, got.body, c.status, c.code, c.where)
		}
	}
}

// S13: once a change was answered, no request passes that it forbids.
func TestNoRequestPassesAfterTheAnswer(t *testing.T) {
	t.Parallel()
	h := open(t)
	owner := h.a.people[access.Owner]
	second, err := h.People.AddPerson(t.Context(), owner, "Mo", access.Owner)
	if err != nil {
		t.Fatal(err)
	}
	issued, err := h.People.IssueToken(t.Context(), owner, second)
	if err != nil {
		t.Fatal(err)
	}
	var answered sync.WaitGroup
	done := make(chan struct{})
	for range 16 {
		answered.Go(func() {
			for {
				var after bool
				select {
				case <-done:
					after = true
				default:
				}
				got := h.ask(get, "/metrics", issued.Token, "", header("X-Forwarded-For", "192.0.2.7")).status
				if after {
					if got != http.StatusForbidden {
						t.Errorf("after the answer: %d", got)
					}
					return
				}
			}
		})
	}
	if got := h.ask(put, "/v1/people/"+string(second)+"/role", h.a.token(access.Owner), `{"role":"manager"}`); got.status != http.StatusNoContent {
		t.Errorf("role: %d %s", got.status, got.body)
	}
	close(done)
	answered.Wait()
}
