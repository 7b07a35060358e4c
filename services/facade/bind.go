package facade

import (
	"bytes"
	"context"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"net/http"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"
	"github.com/danielgtaylor/huma/v2/validation"

	"bydark/events"
	"bydark/services/access"
)

// huma reads requests into Go types, checks them and describes them. Three of its
// settings are the process's, not a server's.
func init() {
	huma.ValidateStrictCasing = true
	huma.DefaultArrayNullable = false // our lists are never null
	huma.NewError = func(status int, message string, errs ...error) huma.StatusError {
		return invalid(status, message, errs)
	}
}

// config is huma's, with none of its own routes and with our JSON.
func (s *Server) config() huma.Config {
	schemas := huma.NewMapRegistry("#/components/schemas/", schemaName)
	schemas.RegisterTypeAlias(reflect.TypeFor[jsontext.Value](), reflect.TypeFor[anything]())
	doc := &huma.OpenAPI{
		OpenAPI: "3.1.0",
		Info: &huma.Info{Title: "bydark", Version: s.Version, Description: "Roofs of standing seam metal: what was done, what is open, what it took. " +
			"Lengths are strings with a unit, times are RFC 3339, errors are RFC 9457 problem documents."},
		Components: &huma.Components{Schemas: schemas, SecuritySchemes: map[string]*huma.SecurityScheme{
			"token":   {Type: "http", Scheme: "bearer"},
			"session": {Type: "apiKey", In: "cookie", Name: cookiePlain, Description: "Set by POST /sign-in; named " + cookieSecure + " under TLS"},
		}},
	}
	if s.public != nil {
		doc.Servers = []*huma.Server{{URL: strings.TrimSuffix(s.public.String(), "/")}}
	}
	format := huma.Format{Marshal: writeJSON, Unmarshal: readJSON}
	return huma.Config{
		OpenAPI:                      doc,
		Formats:                      map[string]huma.Format{"application/json": format, "json": format},
		DefaultFormat:                "application/json",
		RejectUnknownQueryParameters: true,
	}
}

// anything is any JSON value, in the descriptions of documents that other packages read.
type anything struct{}

// Schema permits everything.
func (anything) Schema(huma.Registry) *huma.Schema { return &huma.Schema{} }

// schemaName names a type in openapi.json. Types of other packages carry the package's
// name, so that two of one name can stand beside each other.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	path := t.PkgPath()
	if own := path[strings.LastIndex(path, "/")+1:]; own != "" && own != "facade" {
		name = strings.ToUpper(own[:1]) + own[1:] + name
	}
	return name
}

func writeJSON(w io.Writer, v any) error {
	return json.MarshalWrite(w, v, json.Deterministic(true))
}

// readJSON reads a body that the route's check has let through: names are not looked at
// for doubles again. huma keeps only the text of the error, so the text is the refusal,
// written as JSON.
func readJSON(data []byte, v any) error {
	err := json.Unmarshal(data, v, json.RejectUnknownMembers(true), untidy)
	if err == nil {
		return nil
	}
	text, failed := json.Marshal(unreadableJSON(err))
	if failed != nil {
		return errors.Join(err, failed)
	}
	return errors.New(string(text))
}

// invalid turns what huma found into a problem.
func invalid(status int, message string, errs []error) *problem {
	var found []events.Refusal
	for _, err := range errs {
		var detail *huma.ErrorDetail
		if errors.As(err, &detail) {
			found = append(found, detailed(detail))
		}
	}
	if len(found) == 0 {
		found = []events.Refusal{{Code: "unreadable", Was: message}}
	}
	p := refused(&found[0])
	if status == 0 { // huma asks for an empty one to describe
		p.Status = 0
	}
	p.Others = found[1:]
	return p
}

// detailed turns one thing that huma found into a refusal.
func detailed(d *huma.ErrorDetail) events.Refusal {
	var r events.Refusal
	if json.Unmarshal([]byte(d.Message), &r, json.RejectUnknownMembers(true)) == nil && r.Code != "" {
		return r // from readJSON
	}
	sort, rest, _ := strings.Cut(d.Location, ".")
	r.Code, r.Where, r.Want = "unreadable-value", pointer(rest), strings.TrimPrefix(d.Message, "expected ")
	switch v := d.Value.(type) {
	case string:
		r.Was = clip(v)
	case float64, bool, int64:
		r.Was = fmt.Sprint(v)
	}
	name, isMissing := strings.CutPrefix(d.Message, "expected required property ")
	switch {
	case d.Message == validation.MsgUnexpectedProperty:
		r.Code, r.Want = "unknown-member", "the members that openapi.json lists"
	case isMissing:
		r.Code, r.Want = "missing-member", "a value"
		r.Where += "/" + strings.TrimSuffix(name, " to be present")
	case sort == "query":
		r.Code, r.Where = "unreadable-parameter", "?"+rest
		if d.Message == "unknown query parameter" {
			r.Code, r.Want = "unknown-parameter", "a parameter that openapi.json lists"
		}
	case sort != "body":
		r.Code, r.Where = "unreadable-parameter", rest
	}
	return r
}

// pointer turns huma's a.b[3].c into the JSON pointer /a/b/3/c.
func pointer(path string) string {
	if path == "" {
		return ""
	}
	return "/" + strings.NewReplacer(".", "/", "[", "/", "]", "").Replace(path)
}

// adapter mounts what huma has made ready on our multiplexer.
type adapter struct{ s *Server }

const routeKey = "route"

// Handle mounts an operation that api or open registered.
func (a adapter) Handle(op *huma.Operation, handle func(huma.Context)) {
	rt, ok := op.Metadata[routeKey].(route)
	if !ok {
		panic("facade: " + op.Path + " was registered past routes.go")
	}
	a.s.mount(rt, func(w http.ResponseWriter, r *http.Request, p access.Person) error {
		if op.RequestBody != nil {
			body, err := receive(w, r, "application/json", rt.most)
			if err != nil {
				return err
			}
			if err := rt.check(body); err != nil {
				return err
			}
			if rt.quick != nil && acceptsJSON(r) {
				if answer, ok, err := rt.quick(r, p, body); ok || err != nil {
					return a.quick(w, r, answer, err)
				}
			}
			r.Body = io.NopCloser(bytes.NewReader(body))
		}
		var answer held
		r = r.WithContext(context.WithValue(r.Context(), personKey{}, p))
		handle(humago.NewContext(op, r, &answer))
		if answer.status == http.StatusInternalServerError || answer.Header().Get("Content-Type") == problemType {
			return a.again(&answer)
		}
		a.s.sent(r, answer.send(w))
		return nil
	})
}

// quick writes an answer that huma has no part in.
func (a adapter) quick(w http.ResponseWriter, r *http.Request, doc any, err error) error {
	if err != nil {
		return err
	}
	answer := held{header: http.Header{"Content-Type": {"application/json"}}}
	if err := writeJSON(&answer, doc); err != nil {
		return fmt.Errorf("write the answer to %s: %w", r.URL.Path, err)
	}
	a.s.sent(r, answer.send(w))
	return nil
}

// acceptsJSON says whether a request asks for no other type of answer.
func acceptsJSON(r *http.Request) bool {
	switch strings.Join(r.Header.Values("Accept"), ",") {
	case "", "*/*", "application/json":
		return true
	}
	return false
}

// again reads the problem back out of an answer, so that all problems are sent in one
// place.
func (a adapter) again(answer *held) error {
	var p problem
	if err := json.Unmarshal(answer.body.Bytes(), &p); err != nil {
		return fmt.Errorf("answer %d of the API: %w", answer.status, err)
	}
	return &p
}

// ServeHTTP is never asked: requests come to the Server.
func (a adapter) ServeHTTP(w http.ResponseWriter, r *http.Request) { a.s.ServeHTTP(w, r) }

type personKey struct{}

// personIn is who asks. Only a route without an action can have nobody.
func personIn(ctx context.Context) access.Person {
	p, _ := ctx.Value(personKey{}).(access.Person) // the zero person may do nothing
	return p
}
