package facade

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"strconv"
	"time"

	"bydark/services/access"
)

// Timeouts of a connection. Nothing that a client can leave out or drag on is waited
// for without end.
const (
	headerTime = 5 * time.Second
	bodyTime   = 30 * time.Second // a phone with one bar sends 1 MB in 10 to 20 s
	writeTime  = 60 * time.Second
	idleTime   = 60 * time.Second
	graceTime  = 10 * time.Second // for answers under way when the service stops
)

const (
	maxHeader = 16 << 10
	maxURL    = 8 << 10
)

// Run answers what comes in by the listener until the context ends, then lets the
// answers under way finish, ends the live streams, and returns the context's error.
// It is to be called once.
func (s *Server) Run(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler:           s,
		ReadHeaderTimeout: headerTime,
		WriteTimeout:      writeTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    maxHeader - 2*4096, // net/http allows 4,096 more, and as much again on a kept connection
		ErrorLog:          slog.NewLogLogger(s.Log.Handler(), slog.LevelDebug),
		// OPTIONS * is for servers that have something to say to it.
		DisableGeneralOptionsHandler: true,
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(l) }()
	var failed error
	select {
	case failed = <-served:
	case <-ctx.Done():
	}
	close(s.stopping)
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), graceTime)
	defer cancel()
	if err := server.Shutdown(grace); err != nil {
		s.Log.Warn("answers were cut off by the stop", "error", err)
		if err := server.Close(); err != nil {
			s.Log.Warn("connections did not close", "error", err)
		}
	}
	s.running.Wait()
	if failed != nil {
		return fmt.Errorf("answer on %s: %w", l.Addr(), failed)
	}
	<-served //nolint:errcheck // http.ErrServerClosed
	return ctx.Err()
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.running.Add(1)
	defer s.running.Done()
	began := s.Now()
	r, asked := withAsked(r)
	watched := &watchedWriter{ResponseWriter: w}
	defer func() {
		broken := recover()
		if broken != nil {
			s.broken(watched, r, broken)
		}
		s.count.answered(asked.route, watched.status, s.Now().Sub(began))
		if watched.cut {
			panic(http.ErrAbortHandler) // half an answer must not look whole
		}
	}()
	s.harden(w, r)
	if r.ContentLength != 0 {
		// Also for whoever does not read it: net/http drains what is left.
		_ = http.NewResponseController(w).SetReadDeadline(s.Now().Add(bodyTime)) // not every writer of a test has deadlines
	}
	select {
	case s.room <- struct{}{}:
		defer func() { <-s.room }()
	default:
		s.fail(watched, r, errBusy)
		return
	}
	s.admit(watched, r)
}

// admit turns away what no route has to see.
func (s *Server) admit(w http.ResponseWriter, r *http.Request) {
	switch {
	case len(r.RequestURI) > maxURL:
		s.fail(w, r, errLongURL)
	case !s.answersTo(r):
		s.fail(w, r, errForeignHost)
	case s.Backstage && r.URL.Path != "/healthz" && r.URL.Path != "/readyz" && r.URL.Path != "/metrics":
		s.fail(w, r, access.ErrNotFound)
	case s.rates.address.OnLimit(w, r, s.rateKey(r)):
		s.fail(w, r, errTooMany)
	default:
		s.across.Handler(http.HandlerFunc(s.find)).ServeHTTP(w, r)
	}
}

// find finds the route; net/http's own answers to what has none become problems.
func (s *Server) find(w http.ResponseWriter, r *http.Request) {
	handler, pattern := s.mux.Handler(r)
	if pattern != "" {
		s.mux.ServeHTTP(w, r)
		return
	}
	var answer held
	handler.ServeHTTP(&answer, r)
	if answer.status == http.StatusMethodNotAllowed {
		w.Header().Set("Allow", answer.Header().Get("Allow"))
		s.fail(w, r, errMethod)
		return
	}
	s.fail(w, r, access.ErrNotFound)
}

// broken answers a request whose handler panicked: our own invariant broke, or an
// answer could not be written as JSON.
func (s *Server) broken(w *watchedWriter, r *http.Request, broken any) {
	err := fmt.Errorf("panic: %v\n%s", broken, debug.Stack())
	if w.status == 0 {
		s.fail(w, r, err)
		return
	}
	s.fault(r.Context(), err)
	w.cut = true
}

// watchedWriter remembers the status, and whether the answer broke off.
type watchedWriter struct {
	http.ResponseWriter
	status int
	cut    bool
}

// WriteHeader passes the status on.
func (w *watchedWriter) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

// Write passes the body on.
func (w *watchedWriter) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	return w.ResponseWriter.Write(b)
}

// Unwrap is for http.ResponseController.
func (w *watchedWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// asked is what is known of a request on its way.
type asked struct {
	route string // the route's pattern
}

type askedKey struct{}

func withAsked(r *http.Request) (*http.Request, *asked) {
	a := &asked{route: "none"}
	return r.WithContext(context.WithValue(r.Context(), askedKey{}, a)), a
}

func askedIn(ctx context.Context) *asked {
	if a, ok := ctx.Value(askedKey{}).(*asked); ok {
		return a
	}
	return &asked{route: "none"}
}

// quotes numbers the faults, so that what a person quotes is found in the log.
type quotes struct {
	since time.Time
	last  counter
}

func (q *quotes) next() string {
	return strconv.FormatInt(q.since.Unix(), 36) + "-" + strconv.FormatInt(q.last.next(), 10)
}
