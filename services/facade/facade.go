// Package facade is the door to the service over HTTP: the API, the pages and the
// live updates. It decides nothing about roofs. It reads what came, strictly, finds
// out who asks and whether the role permits it, hands both to the package that knows,
// and writes a whole answer or a problem document.
//
// A route is one function in its resource's file and one line in routes.go. From that
// one list come the multiplexer, the matrix of roles, and openapi.json.
package facade

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"net/url"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/prometheus/client_golang/prometheus"

	"bydark/projections"
	"bydark/services/access"
	"bydark/services/courier"
	"bydark/services/photos"
	"bydark/services/roofjob"
	"bydark/services/sky"
)

// Deps is what the facade stands on. Fields without a word on their absence are
// needed.
type Deps struct {
	People *access.Directory
	// Jobs takes the reports, Store and Runner hold the views, Sky the forecasts and
	// Photos the pictures.
	Jobs   *roofjob.Service
	Store  *projections.Store
	Runner *projections.Runner[*roofjob.State]
	Sky    *sky.Service
	Photos *photos.Photos
	// Courier tells people outside; here it is asked whom, and what could not be
	// delivered.
	Courier *courier.Courier
	Log     *slog.Logger
	Now     func() time.Time
	// Version is the release, as openapi.json names it.
	Version string
	// Metrics is where the facade counts, and what /metrics shows.
	Metrics *prometheus.Registry
	// Public is how people reach the service: https://roofs.example. Its host is
	// the only name that is answered beside Hosts; with https, cookies are secure.
	// Empty, the service answers to the address it listens on.
	Public string
	// Hosts are further names that are answered, without a port.
	Hosts []string
	// Proxies are the addresses whose X-Forwarded-For is believed; none are when
	// empty.
	Proxies []netip.Prefix
	// Backstage answers only /healthz, /readyz and /metrics: the work of such a
	// process is elsewhere.
	Backstage bool
	// Limits bound how much one sender may ask.
	Limits Limits
	// Ready are what must be well for the service to be ready.
	Ready []Check
	// Subscribe begins to collect what changes, for the live stream.
	Subscribe func() Subscription
}

// Server answers requests. Several goroutines may use it at once.
type Server struct {
	Deps

	public  *url.URL // nil without Public
	hosts   map[string]bool
	mux     *http.ServeMux
	api     huma.API
	list    []route
	openapi []byte
	across  *http.CrossOriginProtection
	rates   rates
	count   counters
	quotes  quotes
	almanac almanac

	stopping chan struct{} // closed when Run begins to stop
	running  sync.WaitGroup
	room     chan struct{} // one token for each request under way
	streams  streams
	// Cut plans and nights are reckoned apart: whoever asks what to close before dark
	// does not wait for cut plans.
	cuts, nights reckoning
}

// mostAtOnce is how many requests are under way before more are turned away.
const mostAtOnce = 4096

// New makes a server. It fails when Public cannot be read.
func New(d Deps) (*Server, error) {
	s := &Server{
		Deps: d, hosts: map[string]bool{}, mux: http.NewServeMux(), across: http.NewCrossOriginProtection(),
		stopping: make(chan struct{}), room: make(chan struct{}, mostAtOnce), streams: streams{open: map[holder]int{}},
		quotes: quotes{since: d.Now()}, cuts: newReckoning(), nights: newReckoning(),
	}
	if d.Public != "" {
		u, err := url.Parse(d.Public)
		if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.Path != "" && u.Path != "/" {
			return nil, fmt.Errorf("public address %q: want a scheme and a host, such as https://roofs.example", d.Public)
		}
		s.public = u
		s.hosts[u.Hostname()] = true
	}
	for _, h := range d.Hosts {
		s.hosts[h] = true
	}
	var err error
	if s.count, err = newCounters(d.Metrics, s.room); err != nil {
		return nil, fmt.Errorf("metrics of the facade: %w", err)
	}
	s.rates = s.newRates(d.Limits)
	s.across.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { s.fail(w, r, errCrossOrigin) }))
	s.api = huma.NewAPI(s.config(), adapter{s})
	s.list = append(s.routes(), s.work()...)
	for _, rt := range s.list {
		rt.mount(s, rt)
	}
	if s.openapi, err = s.api.OpenAPI().MarshalJSON(); err != nil {
		return nil, fmt.Errorf("write openapi.json: %w", err)
	}
	return s, nil
}
