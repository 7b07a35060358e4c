package facade

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"bydark/services/access"
)

// S18: a key that is not good is not good, whatever is wrong with it.
func TestBadKeysAreAlike(t *testing.T) {
	t.Parallel()
	h := open(t, func(d *Deps) { d.Limits.Guesses = 1000 })
	good := h.a.token(access.Hand)
	secret, err := h.People.SignIn(t.Context(), good)
	if err != nil {
		t.Fatal(err)
	}
	first := h.ask(get, "/v1/me", "wrong", "")
	if first.status != http.StatusUnauthorized || first.header.Get("WWW-Authenticate") == "" {
		t.Errorf("wrong: %d %v", first.status, first.header)
	}
	for what, edit := range map[string]func(*http.Request){
		"half":         header("Authorization", "Bearer "+good[:len(good)/2]),
		"longer":       header("Authorization", "Bearer "+good+"="),
		"other scheme": header("Authorization", "Basic "+good),
		"no scheme":    header("Authorization", good),
		"empty":        header("Authorization", "Bearer "),
		"session's":    header("Authorization", "Bearer "+secret),
		"huge":         header("Authorization", "Bearer "+strings.Repeat("a", 4000)),
		"two":          func(r *http.Request) { r.Header["Authorization"] = []string{"Bearer " + good, "Bearer " + good} },
		"cookie token": header("Cookie", "bydark="+good),
		"two cookies":  header("Cookie", "bydark="+secret+"; bydark="+secret),
		"other's name": header("Cookie", "bydark=x"),
		"header, cookie": func(r *http.Request) {
			r.Header.Set("Authorization", "Bearer x")
			r.Header.Set("Cookie", "bydark="+secret)
		},
		"no such session": header("Cookie", "bydark=bydark-session_x"),
	} {
		got := h.ask(get, "/v1/me", "", "", edit)
		if got.status != first.status || got.body != first.body {
			t.Errorf("%s: %d %s, and wrong was %d %s", what, got.status, got.body, first.status, first.body)
		}
	}
	if got := h.ask(get, "/v1/me?token="+good, "", ""); got.status != http.StatusUnauthorized {
		t.Errorf("a token in the address: %d", got.status)
	}
}

// S17: guessing ends soon, and harms nobody with a good key.
func TestGuessing(t *testing.T) {
	t.Parallel()
	h := open(t)
	var last int
	for i := range 20 {
		got := h.ask(get, "/v1/me", "guess", "")
		if last = got.status; i < 10 && last != http.StatusUnauthorized || i >= 10 && (last != http.StatusTooManyRequests || got.header.Get("Retry-After") == "") {
			t.Errorf("guess %d: %d", i, last)
		}
		if got := h.ask(get, "/v1/me", h.a.token(access.Hand), ""); got.status != http.StatusOK {
			t.Errorf("a good key after %d guesses: %d", i, got.status)
		}
	}
	if got := h.signIn("guess", "/"); got.status != http.StatusTooManyRequests {
		t.Errorf("guess at the form: %d", got.status)
	}
	if got := h.signIn(h.a.token(access.Hand), "/"); got.status != http.StatusSeeOther {
		t.Errorf("a good key at the form: %d", got.status)
	}
}

// S54: each sender has their own measure.
func TestLimits(t *testing.T) {
	t.Parallel()
	h := open(t, func(d *Deps) { d.Limits.Token = 180 }) // 30 in the window
	count := func(token string) int {
		passed := 0
		for range 60 {
			if got := h.ask(get, "/v1/me", token, ""); got.status == http.StatusOK {
				passed++
			} else if got.status != http.StatusTooManyRequests || got.header.Get("Retry-After") == "" {
				t.Errorf("turned away with %d", got.status)
			}
		}
		return passed
	}
	if n := count(h.a.token(access.Hand)); n < 30 || n > 59 {
		t.Errorf("%d of 60 passed", n)
	}
	if got := h.ask(get, "/v1/me", h.b.token(access.Hand), ""); got.status != http.StatusOK {
		t.Errorf("another company's hand: %d", got.status)
	}
}

func (h *house) signIn(token, next string, edits ...func(*http.Request)) reply {
	h.t.Helper()
	form := url.Values{"token": {token}, "next": {next}}.Encode()
	return h.ask(post, "/sign-in", "", form, append([]func(*http.Request){header("Content-Type", "application/x-www-form-urlencoded")}, edits...)...)
}

// S22, S23: the cookie, and its end.
func TestSession(t *testing.T) {
	t.Parallel()
	h := open(t)
	token := h.a.token(access.Lead)
	in := h.signIn(token, "/jobs/j-1?a=b")
	cookie := in.header.Get("Set-Cookie")
	secret, rest, _ := strings.Cut(strings.TrimPrefix(cookie, "bydark="), ";")
	if in.status != http.StatusSeeOther || in.header.Get("Location") != "/jobs/j-1?a=b" || rest != " Path=/; Max-Age=1209600; HttpOnly; SameSite=Strict" || secret == token {
		t.Errorf("%d to %s with %s", in.status, in.header.Get("Location"), cookie)
	}
	with := header("Cookie", "bydark="+secret)
	if got := h.ask(get, "/v1/me", "", "", with); got.status != http.StatusOK || !strings.Contains(got.body, `"lead"`) {
		t.Errorf("with the cookie: %d %s", got.status, got.body)
	}
	if got := h.ask(get, "/v1/me", "", "", header("Cookie", "__Host-bydark="+secret)); got.status != http.StatusUnauthorized {
		t.Errorf("with the other name: %d", got.status)
	}
	out := h.ask(post, "/sign-out", "", "", with)
	if out.status != http.StatusSeeOther || !strings.Contains(out.header.Get("Set-Cookie"), "bydark=; Path=/; Max-Age=0;") || out.header.Get("Clear-Site-Data") == "" {
		t.Errorf("out: %d %v", out.status, out.header)
	}
	if got := h.ask(get, "/v1/me", "", "", with); got.status != http.StatusUnauthorized {
		t.Errorf("after the end: %d", got.status)
	}
	if got := h.ask(post, "/sign-out", "", "", with); got.status != http.StatusSeeOther {
		t.Errorf("out twice: %d", got.status)
	}
	// S15: a session ends with its token.
	again, _, _ := strings.Cut(strings.TrimPrefix(h.signIn(token, "").header.Get("Set-Cookie"), "bydark="), ";")
	if err := h.People.RevokeToken(t.Context(), h.a.people[access.Owner], h.a.people[access.Lead].ID, token); err != nil {
		t.Fatal(err)
	}
	if got := h.ask(get, "/v1/me", "", "", header("Cookie", "bydark="+again)); got.status != http.StatusUnauthorized {
		t.Errorf("after the token's end: %d", got.status)
	}
	for what, got := range map[string]reply{
		"bad token":  h.signIn("wrong", "/"),
		"no token":   h.signIn("", "/"),
		"no browser": h.ask(post, "/sign-in", "", "token=x", header("Content-Type", "text/plain")),
	} {
		if got.status != http.StatusUnauthorized && got.status != http.StatusUnsupportedMediaType || got.header.Get("Set-Cookie") != "" {
			t.Errorf("%s: %d %v", what, got.status, got.header)
		}
	}
	if got := h.signIn("wrong", "/", header("Accept", "text/html")); got.status != http.StatusUnauthorized || !strings.Contains(got.body, "<form") || strings.Contains(got.body, "wrong") {
		t.Errorf("in a browser: %d %s", got.status, got.body)
	}
}

func TestSessionUnderTLS(t *testing.T) {
	t.Parallel()
	h := open(t, func(d *Deps) { d.Public, d.Hosts = "https://roofs.example", []string{"127.0.0.1"} })
	cookie := h.signIn(h.a.token(access.Lead), "/").header.Get("Set-Cookie")
	if !strings.HasPrefix(cookie, "__Host-bydark=") || !strings.HasSuffix(cookie, "; Path=/; Max-Age=1209600; HttpOnly; Secure; SameSite=Strict") {
		t.Errorf("cookie %s", cookie)
	}
}

// S30: to sign in leads nowhere else.
func TestNextStaysHere(t *testing.T) {
	t.Parallel()
	for next, want := range map[string]string{
		"/jobs/j-1": "/jobs/j-1", "/?a=b": "/?a=b", "": "/", "jobs": "/", "//x.example": "/", "/\\x.example": "/", "https:x": "/", "https://x.example/": "/",
		"javascript:alert(1)": "/", "/\tx": "/", "/\r\nSet-Cookie: a=b": "/", "///x": "/", `\/x`: "/", "/%0d%0aX: y": "/%0d%0aX:%20y", "http://a@b/": "/",
	} {
		got := ownPath(next)
		if u, err := url.Parse(got); err != nil || u.Host != "" || u.Scheme != "" || strings.HasPrefix(got, "//") {
			t.Errorf("%q leads to %q", next, got)
		}
		if got != want && !strings.Contains(next, "%") {
			t.Errorf("%q leads to %q, want %q", next, got, want)
		}
	}
}

// S24: another site's page cannot act for whoever is signed in.
func TestAcrossSites(t *testing.T) {
	t.Parallel()
	h := open(t)
	signedIn := func() string {
		cookie, _, _ := strings.Cut(h.signIn(h.a.token(access.Owner), "/").header.Get("Set-Cookie"), ";")
		return cookie
	}
	for what, edits := range map[string][]func(*http.Request){
		"cross-site form":  {header("Sec-Fetch-Site", "cross-site"), header("Origin", "https://x.example"), header("Content-Type", "application/x-www-form-urlencoded")},
		"cross-site fetch": {header("Sec-Fetch-Site", "cross-site"), header("Origin", "https://x.example")},
		"sub-domain":       {header("Sec-Fetch-Site", "same-site"), header("Origin", "https://a.127.0.0.1")},
		"null origin":      {header("Origin", "null")},
		"old browser":      {header("Origin", "https://x.example")},
		"text/plain":       {header("Sec-Fetch-Site", "same-origin"), header("Content-Type", "text/plain")},
		"no type":          {func(r *http.Request) { r.Header.Del("Content-Type") }},
	} {
		for _, path := range []string{"/v1/people", "/sign-out"} {
			if path == "/sign-out" && (what == "text/plain" || what == "no type") {
				continue // our own page, and nothing to read
			}
			got := h.ask(post, path, "", `{"name":"Mallory","role":"owner"}`, append(edits, header("Cookie", signedIn()))...)
			if got.status != http.StatusForbidden && got.status != http.StatusUnsupportedMediaType {
				t.Errorf("%s to %s: %d %s", what, path, got.status, got.body)
			}
		}
	}
	for _, p := range h.People.People(h.a.company) {
		if p.Name == "Mallory" {
			t.Error("another site added somebody")
		}
	}
}

// S14, S20: no key is in what is logged, counted, described or told.
func TestKeysAreNowhere(t *testing.T) {
	t.Parallel()
	h := open(t)
	token := h.a.token(access.Owner)
	secret, _, _ := strings.Cut(strings.TrimPrefix(h.signIn(token, "/").header.Get("Set-Cookie"), "bydark="), ";")
	var told strings.Builder
	for _, path := range []string{"/v1/me", "/v1/people", "/v1/" + token, "/v1/people/" + token, "/v1/people/x/tokens/" + token, "/v1/me?token=" + token, "/nowhere/" + secret} {
		for _, method := range []string{get, del} {
			got := h.ask(method, path, token, "")
			told.WriteString(got.body)
			got = h.ask(method, path, "", "", header("Cookie", "bydark="+secret))
			told.WriteString(got.body)
		}
	}
	told.WriteString(h.ask(get, "/metrics", "", "").body)
	told.WriteString(h.ask(get, "/openapi.json", "", "").body)
	if !strings.Contains(told.String(), "bydark_http_answers_total") {
		t.Error("the metrics were not looked at")
	}
	for what, text := range map[string]string{"told": told.String(), "logged": h.logged.String()} {
		if strings.Contains(text, token) || strings.Contains(text, secret) || strings.Contains(text, token[8:]) {
			t.Errorf("a key was %s: %s", what, text)
		}
	}
	// S06: nor is anybody's name among the counters.
	for _, name := range []string{"larch", "Larch", "theirs", string(h.a.people[access.Owner].ID)} {
		if strings.Contains(h.ask(get, "/metrics", "", "").body, name) {
			t.Errorf("%q is among the counters", name)
		}
	}
}
