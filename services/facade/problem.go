package facade

import (
	"context"
	"encoding/json/v2"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"syscall"

	"bydark/events"
	"bydark/events/journal"
	"bydark/events/quantity"
	"bydark/services/access"
	"bydark/services/roof"
)

// What the facade itself turns away.
var (
	errNoKey       = errors.New("no key was sent")
	errCrossOrigin = errors.New("sent by another site's page")
	errBusy        = errors.New("too many requests are under way")
	errTooMany     = errors.New("too many requests from one sender")
	errLongURL     = errors.New("the address asked for is too long")
	errForeignHost = errors.New("asked for under a name that is not ours")
	errMethod      = errors.New("the route does not know the method")
	errStopping    = errors.New("the service is stopping")
)

const unsure = "It is not known whether this was taken. Send it again, as it was."

// sentinels is the one table from an error to what the client is told. Whatever is
// neither here nor a refusal is a fault: 500, and a number to quote.
var sentinels = []struct {
	is     error
	status int
	code   string
	words  string
}{
	{errNoKey, http.StatusUnauthorized, "no-key", "Send a token: Authorization: Bearer TOKEN."},
	{access.ErrNoKey, http.StatusUnauthorized, "no-key", "The token or session is not good."},
	{access.ErrForbidden, http.StatusForbidden, "forbidden", "Your role does not permit this."},
	{errCrossOrigin, http.StatusForbidden, "cross-origin", "The request came from another site's page."},
	{access.ErrNotFound, http.StatusNotFound, "not-found", "There is no such thing here."},
	{journal.ErrNotFound, http.StatusNotFound, "not-found", "There is no such thing here."},
	{errMethod, http.StatusMethodNotAllowed, "wrong-method", "The route does not know this method; see the Allow header."},
	{journal.ErrConflict, http.StatusConflict, "conflict", "Somebody else changed it at the same time. Look again, then try again."},
	{journal.ErrTooLarge, http.StatusRequestEntityTooLarge, "too-large", "One report may weigh 900 KiB at most."},
	{errLongURL, http.StatusRequestURITooLong, "too-long", "The address asked for is longer than 8 KiB."},
	{errForeignHost, http.StatusMisdirectedRequest, "foreign-host", "The service does not go by this name."},
	{errTooMany, http.StatusTooManyRequests, "too-many", "Too many requests. Wait as long as Retry-After says."},
	{errBusy, http.StatusServiceUnavailable, "busy", "Too many requests are under way. Try again soon."},
	{errStopping, http.StatusServiceUnavailable, "stopping", "The service is stopping. Try again soon."},
	{access.ErrStopped, http.StatusServiceUnavailable, "no-answer", unsure},
	{journal.ErrUnknown, http.StatusServiceUnavailable, "no-answer", unsure},
	{journal.ErrClosed, http.StatusServiceUnavailable, "no-answer", unsure},
	{syscall.EMFILE, http.StatusServiceUnavailable, "no-answer", unsure},
	{syscall.ENFILE, http.StatusServiceUnavailable, "no-answer", unsure},
	{context.DeadlineExceeded, http.StatusServiceUnavailable, "no-answer", unsure},
	{context.Canceled, http.StatusServiceUnavailable, "no-answer", unsure},
	{errBehind, http.StatusServiceUnavailable, "not-folded-yet", "The views have not come that far yet. Ask again."},
	{journal.ErrFull, http.StatusInsufficientStorage, "full", "There is no room left. Nothing was taken; keep it and send it again."},
}

// statuses is the one table from a refusal's code to its status: unreadable codes are
// 400, what does not stand here is 422.
var statuses = map[string]int{
	"doubled-member":     http.StatusBadRequest,
	"unknown-member":     http.StatusBadRequest,
	"missing-member":     http.StatusBadRequest,
	"unknown-parameter":  http.StatusBadRequest,
	"too-deep":           http.StatusBadRequest,
	"too-many-values":    http.StatusBadRequest,
	"too-long-text":      http.StatusBadRequest,
	"trailing-text":      http.StatusBadRequest,
	"no-body":            http.StatusBadRequest,
	"slow-body":          http.StatusRequestTimeout,
	"company-exists":     http.StatusConflict,
	"last-owner":         http.StatusConflict,
	"id-reused":          http.StatusConflict,
	"job-exists":         http.StatusConflict,
	"profile-under-way":  http.StatusConflict,
	"too-large":          http.StatusRequestEntityTooLarge,
	"wrong-content-type": http.StatusUnsupportedMediaType,
	"encoded-body":       http.StatusUnsupportedMediaType,
}

func statusOf(code string) int {
	if status, ok := statuses[code]; ok {
		return status
	}
	if strings.HasPrefix(code, "unreadable") {
		return http.StatusBadRequest
	}
	return http.StatusUnprocessableEntity
}

// refusalIn finds a refusal in an error, whichever package's kind it is.
func refusalIn(err error) *events.Refusal {
	if r := events.RefusalIn(err); r != nil {
		return r
	}
	var drawn *roof.Refusal
	if errors.As(err, &drawn) {
		return &events.Refusal{Code: drawn.Code, Where: drawn.Where, Was: drawn.Was, Want: drawn.Want}
	}
	var said *quantity.ParseError
	if errors.As(err, &said) {
		return &events.Refusal{Code: "unreadable-" + said.Kind, Was: said.Was, Want: said.Want}
	}
	return nil
}

// problem is an RFC 9457 problem document. A refusal is shown whole; of a fault only
// the number to quote is.
type problem struct {
	Kind   string `json:"type" doc:"Always about:blank: code says what it is" example:"about:blank"`
	Title  string `json:"title" doc:"The status in words"`
	Status int    `json:"status"`
	Detail string `json:"detail" doc:"One sentence for a person"`

	Code    string   `json:"code" doc:"Names the rule, for a program" example:"unknown-mark"`
	Where   string   `json:"where,omitempty" doc:"The place in what was sent, a JSON pointer or a mark"`
	Was     string   `json:"was,omitempty" doc:"What stood there"`
	Want    string   `json:"want,omitempty" doc:"What would be right"`
	Missing []string `json:"missing,omitempty" doc:"What a refused claim lacks"`
	Quote   string   `json:"quote,omitempty" doc:"The number to quote when asking about a fault"`

	Others []events.Refusal `json:"others,omitempty" doc:"What else was wrong"`
}

// Error is the sentence.
func (p *problem) Error() string { return p.Detail }

// GetStatus makes a problem an error that huma writes as it is.
func (p *problem) GetStatus() int { return p.Status }

// ContentType is RFC 9457's.
func (p *problem) ContentType(string) string { return problemType }

const problemType = "application/problem+json"

func refused(r *events.Refusal) *problem {
	return told(statusOf(r.Code), problem{Detail: r.Error(), Code: r.Code, Where: r.Where, Was: r.Was, Want: r.Want, Missing: r.Missing})
}

func told(status int, p problem) *problem {
	p.Kind, p.Title, p.Status = "about:blank", http.StatusText(status), status
	return &p
}

// problem is what the client is told of an error. A fault is logged here and nowhere
// else.
func (s *Server) problem(ctx context.Context, err error) *problem {
	var made *problem
	if errors.As(err, &made) {
		return made
	}
	if r := refusalIn(err); r != nil {
		return refused(r)
	}
	for _, row := range sentinels {
		if errors.Is(err, row.is) {
			return told(row.status, problem{Detail: row.words, Code: row.code})
		}
	}
	quote := s.fault(ctx, err)
	return told(http.StatusInternalServerError, problem{
		Detail: fmt.Sprintf("Something broke on our side. Quote %s when you ask about it.", quote), Code: "fault", Quote: quote,
	})
}

// fault logs an error of ours and gives the number to quote.
func (s *Server) fault(ctx context.Context, err error) string {
	quote := s.quotes.next()
	s.count.faults.Inc()
	s.Log.ErrorContext(ctx, "fault", "quote", quote, "route", askedIn(ctx).route, "error", err)
	return quote
}

// fail answers with a problem.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	p := s.problem(r.Context(), err)
	switch p.Status {
	case http.StatusUnauthorized:
		w.Header().Set("WWW-Authenticate", `Bearer realm="bydark"`)
		fallthrough
	case http.StatusForbidden, http.StatusTooManyRequests, http.StatusMisdirectedRequest:
		s.Log.InfoContext(r.Context(), "turned away", "code", p.Code, "route", askedIn(r.Context()).route, "from", s.client(r).String())
	case http.StatusServiceUnavailable, http.StatusInsufficientStorage:
		if w.Header().Get("Retry-After") == "" {
			w.Header().Set("Retry-After", "5")
		}
	}
	if acceptsPage(r) {
		s.failPage(w, r, p)
		return
	}
	body, err := json.Marshal(p)
	if err != nil {
		panic(err) // strings and numbers only
	}
	answer := held{header: http.Header{"Content-Type": {problemType}}, status: p.Status}
	answer.body.Write(body)
	s.sent(r, answer.send(w))
}

// sent notes that an answer did not reach its client, who is gone: no fault of ours.
func (s *Server) sent(r *http.Request, err error) {
	if err != nil {
		s.Log.DebugContext(r.Context(), "client is gone", "route", askedIn(r.Context()).route, "error", err)
	}
}

// acceptsPage says whether a person's browser asks for a page.
func acceptsPage(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, "/v1/") && slices.ContainsFunc(r.Header.Values("Accept"), func(v string) bool {
		return strings.Contains(v, "text/html")
	})
}

var problemPage = template.Must(template.New("problem").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{{.Title}}</title><link rel="stylesheet" href="/static/style.css">
<main><h1>{{.Title}}</h1><p>{{.Detail}}</p>
{{with .Missing}}<ul>{{range .}}<li>{{.}}</li>{{end}}</ul>{{end}}
<p><a href="/">To the roofs</a></p></main></html>
`))

// failPage is the problem for a person in a browser.
func (s *Server) failPage(w http.ResponseWriter, r *http.Request, p *problem) {
	answer := held{header: http.Header{"Content-Type": {"text/html; charset=utf-8"}}, status: p.Status}
	if err := problemPage.Execute(&answer.body, p); err != nil {
		panic(err) // a constant page with strings in it
	}
	s.sent(r, answer.send(w))
}
