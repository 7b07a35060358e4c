package facade

import (
	"net/http"

	"bydark/services/access"
)

const (
	get  = http.MethodGet
	post = http.MethodPost
	put  = http.MethodPut
	del  = http.MethodDelete
)

// anybody is the action of a route that asks for no key.
const anybody access.Action = ""

// routes is every route there is.
func (s *Server) routes() []route {
	return []route{
		api(get, "/v1/me", access.SeeSelf, "Who I am and what I may do", s.me),
		api(get, "/v1/people", access.SeePeople, "The company's people", s.listPeople),
		api(post, "/v1/people", access.ManagePeople, "Add somebody", s.addPerson),
		api(put, "/v1/people/{person}/role", access.ManagePeople, "Change somebody's role", s.changeRole),
		api(del, "/v1/people/{person}", access.ManagePeople, "End somebody's access", s.removePerson),
		api(post, "/v1/people/{person}/tokens", access.ManagePeople, "Give somebody a token", s.issueToken),
		api(del, "/v1/people/{person}/tokens/{token}", access.ManagePeople, "Revoke a token", s.revokeToken),

		page(get, "/people", access.ManagePeople, "People and their tokens", s.peoplePage),
		page(post, "/people", access.ManagePeople, "Add somebody, with a token", s.addPersonForm).takes(formType),
		page(post, "/people/{person}/{act}", access.ManagePeople, "Give a token, revoke one, change a role, remove somebody", s.changePerson).takes(formType),

		raw(get, "/v1/live", access.FollowLive, "Server-sent events: what changed", "text/event-stream", s.live),

		page(get, "/sign-in", anybody, "The form to sign in with a token", s.askSignIn),
		page(post, "/sign-in", anybody, "Begin a session", s.signIn).upTo(maxURL).takes(formType),
		page(post, "/sign-out", anybody, "End the session", s.signOut),

		raw(get, "/healthz", anybody, "The process lives", "text/plain", s.healthz),
		raw(get, "/readyz", anybody, "The service can do its work", "application/json", s.readyz),
		raw(get, "/metrics", access.RunService, "Counters for Prometheus", "text/plain", s.metrics).locally(),
		raw(get, "/debug/pprof/{profile}", access.RunService, "What the process spends: cpu, trace, heap, goroutine and others", "application/octet-stream", s.profile).dear(20),
		page(get, "/status", access.RunService, "How the service does, for whoever runs it", s.statusPage).dear(4),
		raw(get, "/openapi.json", anybody, "This description", "application/openapi+json", s.describe),
	}
}
