package facade

import (
	"errors"
	"net/http"
	"net/url"
	"strings"

	"bydark/events"
	"bydark/services/access"
)

// The session's cookie. Under TLS its name makes browsers keep it to this host, to
// every path, and off plain connections.
const (
	cookiePlain  = "bydark"
	cookieSecure = "__Host-bydark"
)

func (s *Server) cookieName(r *http.Request) string {
	if s.secure(r) {
		return cookieSecure
	}
	return cookiePlain
}

// caller finds out who asks: by the token, or without one by the session.
func (s *Server) caller(r *http.Request) (access.Person, error) {
	if said := r.Header.Values("Authorization"); len(said) > 0 {
		scheme, token, ok := strings.Cut(said[0], " ")
		if !ok || len(said) > 1 || !strings.EqualFold(scheme, "Bearer") {
			return access.Person{}, access.ErrNoKey
		}
		return s.People.Who(strings.TrimLeft(token, " "))
	}
	switch cookies := r.CookiesNamed(s.cookieName(r)); len(cookies) {
	case 0:
		return access.Person{}, errNoKey
	case 1:
		return s.People.WhoseSession(cookies[0].Value)
	}
	return access.Person{}, access.ErrNoKey
}

// mount puts a route on the multiplexer, behind everything that a route may rely on.
func (s *Server) mount(rt route, handle plain) {
	s.mux.HandleFunc(rt.pattern(), func(w http.ResponseWriter, r *http.Request) {
		askedIn(r.Context()).route = rt.pattern()
		who, err := s.enter(w, r, rt)
		if errors.Is(err, errNoKey) && rt.page && r.Method == http.MethodGet {
			http.Redirect(w, r, "/sign-in?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
			return
		}
		if err == nil {
			r.Body = http.MaxBytesReader(w, r.Body, rt.most)
			err = handle(w, r, who)
		}
		if err != nil {
			s.fail(w, r, err)
		}
	})
}

// enter lets in whom the route is for.
func (s *Server) enter(w http.ResponseWriter, r *http.Request, rt route) (access.Person, error) {
	if rt.action == "" || rt.local && s.isLocal(r) {
		return access.Person{}, nil
	}
	who, err := s.caller(r)
	if errors.Is(err, access.ErrNoKey) {
		s.count.badKeys.Inc()
		if s.rates.guesses.OnLimit(w, r, s.rateKey(r)) {
			return access.Person{}, errTooMany
		}
		w.Header().Del("Retry-After")
	}
	if err != nil {
		return access.Person{}, err
	}
	if s.rates.token.OnLimit(w, costing(r, rt.cost), string(who.Company)+"/"+string(who.ID)) {
		return access.Person{}, errTooMany
	}
	if !who.May(rt.action) {
		return access.Person{}, access.ErrForbidden
	}
	// What can be no job's id is none of the company's, and never reaches a subject of
	// the log.
	if job := r.PathValue("job"); job != "" {
		if _, err := events.ParseJobID(job); err != nil {
			return access.Person{}, access.ErrNotFound
		}
	}
	return who, nil
}
