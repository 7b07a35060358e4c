package facade

import (
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"bydark/events"
	"bydark/services/access"
)

var signInPage = template.Must(template.New("sign-in").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Sign in</title><link rel="stylesheet" href="/static/style.css">
<main><h1>Sign in</h1>
{{with .Told}}<p role="alert">{{.}}</p>{{end}}
<form method="post" action="/sign-in">
<input type="hidden" name="next" value="{{.Next}}">
<label>Your token <input type="password" name="token" required autocomplete="current-password"></label>
<button>Sign in</button>
</form></main></html>
`))

// formType is the type of content of a plain form.
const formType = "application/x-www-form-urlencoded"

func (s *Server) askSignIn(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	return s.showSignIn(w, r, http.StatusOK, r.URL.Query().Get("next"), "")
}

func (s *Server) showSignIn(w http.ResponseWriter, r *http.Request, status int, next, told string) error {
	answer := held{header: http.Header{"Content-Type": {"text/html; charset=utf-8"}}, status: status}
	if err := signInPage.Execute(&answer.body, struct{ Next, Told string }{ownPath(next), told}); err != nil {
		return err
	}
	s.sent(r, answer.send(w))
	return nil
}

// signIn takes a token by form and gives the browser a session. The token itself stays
// with the person.
func (s *Server) signIn(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	body, err := receive(w, r, formType, maxURL)
	if err != nil {
		return err
	}
	form, err := url.ParseQuery(string(body))
	if err != nil {
		return &events.Refusal{Code: "unreadable-form", Where: "body", Want: "fields of a form, URL-encoded"}
	}
	secret, err := s.People.SignIn(r.Context(), strings.TrimSpace(form.Get("token")))
	if errors.Is(err, access.ErrNoKey) {
		s.count.badKeys.Inc()
		if s.rates.guesses.OnLimit(w, r, s.rateKey(r)) {
			return errTooMany
		}
		w.Header().Del("Retry-After")
		if !acceptsPage(r) {
			return err
		}
		s.Log.InfoContext(r.Context(), "turned away", "code", "no-key", "route", "POST /sign-in", "from", s.client(r).String())
		return s.showSignIn(w, r, http.StatusUnauthorized, form.Get("next"), "This token is not good. Ask the owner for a new one.")
	}
	if err != nil {
		return err
	}
	s.setCookie(w, r, secret, int(access.SessionLife.Seconds()))
	http.Redirect(w, r, ownPath(form.Get("next")), http.StatusSeeOther)
	return nil
}

// signOut ends the session, here and in the browser.
func (s *Server) signOut(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	for _, c := range r.CookiesNamed(s.cookieName(r)) {
		if err := s.People.SignOut(r.Context(), c.Value); err != nil && !errors.Is(err, access.ErrNoKey) {
			return err
		}
	}
	s.setCookie(w, r, "", -1)
	w.Header().Set("Clear-Site-Data", `"cache", "storage"`)
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	return nil
}

func (s *Server) setCookie(w http.ResponseWriter, r *http.Request, secret string, age int) {
	http.SetCookie(w, &http.Cookie{
		Name: s.cookieName(r), Value: secret, Path: "/", MaxAge: age,
		Secure: s.secure(r), HttpOnly: true, SameSite: http.SameSiteStrictMode,
	})
}

// ownPath is where to go next, a path of this service whatever was asked for.
func ownPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || !strings.HasPrefix(u.Path, "/") ||
		strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\t\r\n") {
		return "/"
	}
	return u.RequestURI()
}
