package facade

import (
	"context"
	"net/http"
	"reflect"
	"regexp"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"bydark/services/access"
)

// route is one line of routes.go.
type route struct {
	method, path, summary string
	// action is what the role must permit; empty, the route is for whoever comes.
	action access.Action
	// answers is the type of content of a plain route's answers.
	answers string
	// most is how large a body may be; cost is how many requests one counts for.
	most int64
	cost int
	// page sends whoever has no session to sign in; local lets programs on this
	// machine in without a key.
	page, local bool
	tune        []func(*huma.Operation)
	// quick answers requests that are plainly right, for a route that is asked so often
	// that huma's reading and writing count. What it passes by goes through huma, which
	// finds all that is wrong.
	quick quick
	// check refuses a body that is not to be read at all.
	check func(body []byte) error
	mount func(*Server, route)
}

// mostBody is how large a body may be where the route says nothing else.
const mostBody = 1 << 20

// plain handles a route that writes its own answer. It returns an error only when it
// has written nothing.
type plain func(http.ResponseWriter, *http.Request, access.Person) error

// quick answers a request with a document, or says that it is not for it.
type quick func(r *http.Request, who access.Person, body []byte) (answer any, ok bool, err error)

// nothing is the answer of a route that has none: 204.
type nothing struct{}

// api is a route of the API that a person with the right role may use. I is a struct
// as huma reads it: path and query parameters by tag, the JSON body in a field Body.
// What handle returns is the answer's JSON document.
func api[I, O any](method, path string, action access.Action, summary string, handle func(context.Context, access.Person, *I) (O, error)) route {
	rt := route{method: method, path: path, action: action, summary: summary, most: mostBody, check: checkJSON}
	rt.mount = func(s *Server, rt route) {
		call := func(ctx context.Context, in *I) (O, error) {
			out, err := handle(ctx, personIn(ctx), in)
			if err != nil {
				return out, s.problem(ctx, err)
			}
			return out, nil
		}
		if reflect.TypeFor[O]() == reflect.TypeFor[nothing]() {
			huma.Register(s.api, rt.operation(), func(ctx context.Context, in *I) (*struct{}, error) {
				_, err := call(ctx, in)
				return nil, err
			})
			return
		}
		huma.Register(s.api, rt.operation(), func(ctx context.Context, in *I) (*answer[O], error) {
			out, err := call(ctx, in)
			return &answer[O]{Body: out}, err
		})
	}
	return rt
}

// answer is what huma writes.
type answer[O any] struct{ Body O }

// raw is a route that writes its own answer, of the given type of content.
func raw(method, path string, action access.Action, summary, answers string, handle plain) route {
	rt := route{method: method, path: path, action: action, summary: summary, answers: answers, most: mostBody}
	rt.mount = func(s *Server, rt route) {
		op := rt.operation()
		op.Responses = map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{answers: {}}}}
		for _, name := range pathParameters(path) {
			op.Parameters = append(op.Parameters, &huma.Param{Name: name, In: "path", Required: true, Schema: &huma.Schema{Type: huma.TypeString}})
		}
		s.api.OpenAPI().AddOperation(&op)
		s.mount(rt, handle)
	}
	return rt
}

// page is a page for people in browsers.
func page(method, path string, action access.Action, summary string, handle plain) route {
	rt := raw(method, path, action, summary, "text/html", handle)
	rt.page = true
	return rt
}

// upTo lets bodies be as large as that.
func (rt route) upTo(bytes int64) route { rt.most = bytes; return rt }

// dear lets a request count for more than one against the limits.
func (rt route) dear(cost int) route { rt.cost = cost; return rt }

// quickly lets requests that are plainly right past huma.
func (rt route) quickly(q quick) route { rt.quick = q; return rt }

// checked checks a body in another way than checkJSON.
func (rt route) checked(by func(body []byte) error) route { rt.check = by; return rt }

// locally lets programs on this machine in without a key.
func (rt route) locally() route { rt.local = true; return rt }

// with changes what huma does and says: a status, SkipValidateBody, a description.
func (rt route) with(tune func(*huma.Operation)) route {
	rt.tune = append(append([]func(*huma.Operation){}, rt.tune...), tune)
	return rt
}

// takes says of which types the body of a plain route may be.
func (rt route) takes(types ...string) route {
	return rt.with(func(op *huma.Operation) {
		op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{}}
		for _, t := range types {
			op.RequestBody.Content[t] = &huma.MediaType{}
		}
	})
}

// created says 201 instead of 200.
func created(op *huma.Operation) { op.DefaultStatus = http.StatusCreated }

// pattern is the route as the multiplexer knows it.
func (rt route) pattern() string { return rt.method + " " + rt.path }

func (rt route) operation() huma.Operation {
	op := huma.Operation{
		Method: rt.method, Path: strings.TrimSuffix(rt.path, "{$}"), Summary: rt.summary, OperationID: operationID(rt),
		MaxBodyBytes: rt.most + 1, BodyReadTimeout: -1, // the body is read before huma sees it
		Metadata:   map[string]any{routeKey: rt},
		Extensions: map[string]any{"x-action": string(rt.action)},
	}
	if rt.action != "" {
		op.Security = []map[string][]string{{"token": {}}, {"session": {}}}
	}
	for _, tune := range rt.tune {
		tune(&op)
	}
	return op
}

var wildcard = regexp.MustCompile(`\{([a-z]+)(?:\.\.\.)?\}`)

func pathParameters(path string) []string {
	var names []string
	for _, m := range wildcard.FindAllStringSubmatch(path, -1) {
		names = append(names, m[1])
	}
	return names
}

// operationID is the route's name for generated clients: post-v1-people.
func operationID(rt route) string {
	words := strings.FieldsFunc(rt.path, func(c rune) bool { return strings.ContainsRune("/{}$.", c) })
	return strings.Join(append([]string{strings.ToLower(rt.method)}, words...), "-")
}
