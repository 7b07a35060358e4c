package facade

import (
	"encoding/json/v2"
	"flag"
	"maps"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"

	"encoding/json/jsontext"

	"bydark/services/access"
	"bydark/services/assembly"
)

var update = flag.Bool("update", false, "write the golden files anew")

// A new route needs nothing here unless it brings a path parameter or a body of a new
// kind: then one line below.

// bodies are a good body for each route that takes one, for company a's owner; what is
// no JSON says of which type it is.
var bodies = map[string]struct{ text, kind string }{
	"POST /v1/people":              {`{"name":"Ike Fennimore","role":"hand"}`, ""},
	"PUT /v1/people/{person}/role": {`{"role":"lead"}`, ""},
	"POST /v1/jobs":                {newShed("ours"), ""},
	"POST /v1/jobs/{job}/reports":  {`{"reports":[{"id":"0199d2f0-6f1a-7cc3-98c4-dc0c0c07398f","type":"deck-opened","at":"2026-05-04T15:30:00Z","where":"A"}]}`, ""},
	"PUT /v1/jobs/{job}/forecast": {`{"issued":"2026-05-04T12:00:00Z","place":"Mill","hours":[{"time":"2026-05-04T13:00:00Z","rain_mm":0,"chance_pct":10,"wind_ms":3,` +
		`"gust_ms":5,"wind_from_deg":200,"temp_c":15,"dew_c":7}]}`, ""},
	"POST /v1/subscribers":           {`{"channel":"webhook","to":"https://hooks.larch.example/roofs","wants":["warning"]}`, ""},
	"POST /subscribers":              {"channel=webhook&to=https://hooks.larch.example/roofs&wants=warning", "application/x-www-form-urlencoded"},
	"POST /people":                   {"name=Ike Fennimore&role=hand", "application/x-www-form-urlencoded"},
	"POST /people/{person}/{act}":    {"role=lead", "application/x-www-form-urlencoded"},
	"POST /open":                     {"name=Shed by the mill&lat=40.7&lon=-74&zone=America/New_York&assembly=" + assembly.Shipped()[0] + "&shape=shed&along=40'&across=15'&pitch=6/12&faces=south&eave_height=10'", "application/x-www-form-urlencoded"},
	"POST /v1/photos":                {picture(), "image/png"},
	"POST /jobs/{job}/report/{type}": {"id=0199d2f0-6f1a-7cc3-98c4-dc0c0c07398f&at=2026-05-04T15:30:00Z&where=A", "application/x-www-form-urlencoded"},
}

// good sends a route's good body.
func (h *house) good(rt route, path, token string) reply {
	h.t.Helper()
	b := bodies[rt.pattern()]
	if b.kind == "" {
		return h.ask(rt.method, path, token, b.text)
	}
	return h.ask(rt.method, path, token, b.text, header("Content-Type", b.kind))
}

// objects are, for each path parameter, one that is company b's and one that never was.
var objects = map[string]func(*house) (theirs, never string){
	"person": func(h *house) (string, string) {
		return string(h.b.people[access.Hand].ID), "p-2222222222222222"
	},
	"job":     func(*house) (string, string) { return "theirs", "never-was" },
	"digest":  func(h *house) (string, string) { return h.picture, strings.Repeat("0", 64) },
	"profile": func(*house) (string, string) { return "nobodys", "never-was" }, // none is anybody's
	"type":    func(*house) (string, string) { return "deck-opened", "deck-opened" },
	"act":     func(*house) (string, string) { return "stop", "stop" },
	"number":  func(*house) (string, string) { return "1", "999999" },
	"subscriber": func(h *house) (string, string) {
		return string(h.b.subscriber), "w-2222222222222222"
	},
	"token": func(h *house) (string, string) {
		return string(h.b.tokens[access.Hand].ID), "t-2222222222222222"
	},
}

// at fills a route's path with company b's objects or with none that ever was.
func (h *house) at(rt route, theirs bool) string {
	path := strings.TrimSuffix(rt.path, "{$}")
	for _, name := range pathParameters(rt.path) {
		object, ok := objects[name]
		if !ok {
			h.t.Errorf("%s: no object for {%s}: give it a line in objects", rt.pattern(), name)
			continue
		}
		id, never := object(h)
		if !theirs {
			id = never
		}
		path = strings.NewReplacer("{"+name+"}", url.PathEscape(id), "{"+name+"...}", url.PathEscape(id)).Replace(path)
	}
	return path
}

// document is openapi.json as far as the walks read it.
type document struct {
	OpenAPI string `json:"openapi"`
	Paths   map[string]map[string]struct {
		Action   string                    `json:"x-action"`
		Security []map[string][]string     `json:"security"`
		Body     *struct{}                 `json:"requestBody"`
		Rest     map[string]jsontext.Value `json:",embed"`
		Answers  map[string]map[string]any `json:"responses"`
	} `json:"paths"`
	Rest map[string]jsontext.Value `json:",embed"`
}

func (h *house) document() document {
	h.t.Helper()
	var d document
	if err := json.Unmarshal([]byte(h.ask(get, "/openapi.json", "", "").body), &d); err != nil {
		h.t.Fatal(err)
	}
	return d
}

// Each route is described, with the action it asks for, and nothing else is.
func TestDescription(t *testing.T) {
	t.Parallel()
	h := open(t)
	d := h.document()
	if d.OpenAPI != "3.1.0" {
		t.Errorf("OpenAPI %s", d.OpenAPI)
	}
	described := map[string]bool{}
	for path, methods := range d.Paths {
		for method := range methods {
			described[strings.ToUpper(method)+" "+path] = true
		}
	}
	for _, rt := range h.list {
		path := strings.TrimSuffix(rt.path, "{$}")
		op, ok := d.Paths[path][strings.ToLower(rt.method)]
		delete(described, rt.method+" "+path)
		if !ok || op.Action != string(rt.action) || (rt.action != "") != (len(op.Security) > 0) || len(op.Answers) == 0 || rt.summary == "" {
			t.Errorf("%s is not described as it is: %+v", rt.pattern(), op)
		}
		if op.Body != nil && !strings.Contains(rt.answers, "html") && bodies[rt.pattern()].text == "" {
			t.Errorf("%s takes a body and has no good one in bodies", rt.pattern())
		}
	}
	if len(described) > 0 {
		t.Errorf("described and not there: %v", slices.Sorted(maps.Keys(described)))
	}
	if golden := indented(t, h.openapi); *update {
		if err := os.WriteFile("testdata/openapi.json", golden, 0o644); err != nil { //nolint:gosec // a file of the source tree
			t.Fatal(err)
		}
	} else if want, err := os.ReadFile("testdata/openapi.json"); err != nil || string(want) != string(golden) {
		t.Errorf("openapi.json is not the golden one (%v); if it is meant so: go test ./services/facade -run Description -update", err)
	}
}

func indented(t *testing.T, data []byte) []byte {
	t.Helper()
	v := jsontext.Value(slices.Clone(data))
	if err := v.Canonicalize(); err != nil {
		t.Fatal(err)
	}
	if err := v.Indent(jsontext.WithIndent(" ")); err != nil {
		t.Fatal(err)
	}
	return append(v, '\n')
}

// S01: every route, without a key, with a revoked one, and in every role, answers as
// the one table in access says. What is behind the right is another test's matter.
func TestRolesOnEveryRoute(t *testing.T) {
	t.Parallel()
	h := open(t)
	revoked, err := h.People.IssueToken(t.Context(), h.a.people[access.Owner], h.a.people[access.Hand].ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.People.RevokeToken(t.Context(), h.a.people[access.Owner], h.a.people[access.Hand].ID, string(revoked.ID)); err != nil {
		t.Fatal(err)
	}
	for _, rt := range h.list {
		if rt.action != "" && !slices.Contains(access.Actions(), rt.action) {
			t.Errorf("%s asks for %q, which has no row in access", rt.pattern(), rt.action)
		}
		knock := func(token string) int {
			// Seen as from elsewhere: some routes open to programs on this machine.
			return h.ask(rt.method, h.at(rt, false), token, "", header("X-Forwarded-For", "192.0.2.7")).status
		}
		if rt.action == "" {
			if got := knock(""); got == http.StatusUnauthorized || got == http.StatusForbidden {
				t.Errorf("%s without a key: %d, and it is for anybody", rt.pattern(), got)
			}
			continue
		}
		without := http.StatusUnauthorized
		if rt.page && rt.method == get {
			without = http.StatusSeeOther
		}
		if got := knock(""); got != without {
			t.Errorf("%s without a key: %d", rt.pattern(), got)
		}
		if got := h.ask(rt.method, h.at(rt, false), revoked.Token, "", header("X-Forwarded-For", "192.0.2.7")).status; got != http.StatusUnauthorized && got != http.StatusTooManyRequests {
			t.Errorf("%s with a revoked key: %d", rt.pattern(), got)
		}
		for _, role := range access.Roles() {
			got := knock(h.a.token(role))
			denied := got == http.StatusUnauthorized || got == http.StatusForbidden
			if denied == access.May(role, rt.action) || got >= 500 {
				t.Errorf("%s as %s: %d, and %q is permitted: %v", rt.pattern(), role, got, rt.action, access.May(role, rt.action))
			}
		}
	}
}

// S02: another company's object is like one that never was, in status and body, for the
// one who may do most, and nothing is written.
func TestObjectsOfAnotherCompany(t *testing.T) {
	t.Parallel()
	h := open(t)
	before := h.written()
	for _, rt := range h.list {
		if len(pathParameters(rt.path)) == 0 || rt.action == "" {
			continue
		}
		ask := func(theirs bool) reply {
			path := h.at(rt, theirs)
			got := h.good(rt, path, h.a.token(access.Owner))
			for _, name := range pathParameters(rt.path) { // a problem may say what was asked for
				id, never := objects[name](h)
				got.body = strings.NewReplacer(id, "ID", never, "ID").Replace(got.body)
			}
			return got
		}
		theirs, never := ask(true), ask(false)
		if theirs.status != http.StatusNotFound || theirs.body != never.body || never.status != http.StatusNotFound {
			t.Errorf("%s: another company's: %d %s\nnever was: %d %s", rt.pattern(), theirs.status, theirs.body, never.status, never.body)
		}
		if theirs.header.Get("Content-Length") == "" {
			t.Errorf("%s: no length", rt.pattern())
		}
	}
	if after := h.written(); after != before {
		t.Errorf("the log was at %v and is at %v", before, after)
	}
}

// S04: nobody sends along what is not theirs to say.
func TestUnknownMembers(t *testing.T) {
	t.Parallel()
	h := open(t)
	before := h.written()
	for pattern, body := range bodies {
		i := slices.IndexFunc(h.list, func(rt route) bool { return rt.pattern() == pattern })
		if i < 0 {
			t.Errorf("%s has a body and is no route", pattern)
			continue
		}
		if h.list[i].answers != "" {
			continue // what it takes is another package's document
		}
		for _, extra := range []string{"company", "by", "recorded", "sequence", "accepted", "Role", "NAME", "$schema"} {
			more := `{"` + extra + `":"x",` + strings.TrimPrefix(body.text, "{")
			got := h.ask(h.list[i].method, h.at(h.list[i], false), h.a.token(access.Owner), more)
			p := got.problem(t)
			if got.status != http.StatusBadRequest || p.Code != "unknown-member" || p.Where != "/"+extra {
				t.Errorf("%s with %q: %d %s", pattern, extra, got.status, got.body)
			}
		}
	}
	if after := h.written(); after != before {
		t.Errorf("the log was at %v and is at %v", before, after)
	}
}

// S10, S12: what could mean something to the log, to a file system or to a person's eye
// is no id.
func TestIDsThatAreNone(t *testing.T) {
	t.Parallel()
	h := open(t)
	before := h.written()
	for _, rt := range h.list {
		for _, name := range pathParameters(rt.path) {
			for _, bad := range []string{"*", ">", "a.b", "larch.*", "a b", "a\r\nX-Bad: 1", "a\x00", strings.Repeat("a", 300), "..%2f..", "../..", "аdmin", "\u202ea", "'; DROP TABLE people; --", "$JS.API.>"} {
				path := strings.NewReplacer("{"+name+"}", url.PathEscape(bad), "{"+name+"...}", url.PathEscape(bad)).Replace(rt.path)
				for _, other := range pathParameters(path) {
					_, never := objects[other](h)
					path = strings.ReplaceAll(path, "{"+other+"}", never)
				}
				got := h.good(rt, path, h.a.token(access.Owner))
				if got.status < 400 || got.status >= 500 || got.header.Get("X-Bad") != "" {
					t.Errorf("%s with %q for %s: %d %s", rt.pattern(), bad, name, got.status, got.body)
				}
			}
		}
	}
	if after := h.written(); after != before {
		t.Errorf("the log was at %v and is at %v", before, after)
	}
}

// S25: to look changes nothing.
func TestReadingWritesNothing(t *testing.T) {
	t.Parallel()
	h := open(t)
	before := h.written()
	for _, rt := range h.list {
		if rt.method != get {
			continue
		}
		for _, method := range []string{get, http.MethodHead, get} {
			if got := h.ask(method, h.at(rt, false), h.a.token(access.Owner), "", header("Purpose", "prefetch")); got.status >= 500 {
				t.Errorf("%s: %d %s", rt.pattern(), got.status, got.body)
			}
		}
	}
	if after := h.written(); after != before {
		t.Errorf("the log was at %v and is at %v", before, after)
	}
}

// S26, S27, S29, S31: every answer, problems too, carries what browsers need to know.
func TestHeadersOnEveryAnswer(t *testing.T) {
	t.Parallel()
	plain, secure := open(t), open(t, func(d *Deps) { d.Public = "https://roofs.example" })
	for _, rt := range plain.list {
		for _, token := range []string{"", "wrong", plain.a.token(access.Hand), plain.a.token(access.Owner)} {
			got := plain.ask(rt.method, plain.at(rt, false), token, "", header("Origin", "https://elsewhere.example"), header("Sec-Fetch-Site", "none"))
			csp := got.header.Get("Content-Security-Policy")
			for name, want := range map[string]string{
				"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cross-Origin-Opener-Policy": "same-origin",
				"Cross-Origin-Resource-Policy": "same-origin", "Access-Control-Allow-Origin": "", "Strict-Transport-Security": "", "Server": "", "X-Powered-By": "",
			} {
				if got.header.Get(name) != want {
					t.Errorf("%s: %s is %q", rt.pattern(), name, got.header.Get(name))
				}
			}
			if !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(csp, "unsafe") {
				t.Errorf("%s: policy %q", rt.pattern(), csp)
			}
			if rt.action != "" && got.header.Get("Cache-Control") != "no-store" && !strings.Contains(got.header.Get("Cache-Control"), "private") {
				t.Errorf("%s: Cache-Control %q", rt.pattern(), got.header.Get("Cache-Control"))
			}
		}
	}
	got := secure.ask(get, "/healthz", "", "", func(r *http.Request) { r.Host = "roofs.example" })
	if got.status != http.StatusOK || got.header.Get("Strict-Transport-Security") == "" {
		t.Errorf("under TLS: %d %v", got.status, got.header)
	}
}
