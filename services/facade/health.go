package facade

import (
	"context"
	"encoding/json/v2"
	"fmt"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"

	"bydark/services/access"
)

// Check is one thing that must be well for the service to be ready.
type Check struct {
	Name string
	Well func(context.Context) error
}

// readyTime is how long all checks together may take.
const readyTime = 5 * time.Second

func (s *Server) healthz(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, err := w.Write([]byte("alive\n"))
	s.sent(r, err)
	return nil
}

// readyz says whether requests should be sent here. What is wrong is told by name; the
// error behind it goes to the log.
func (s *Server) readyz(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	ctx, cancel := context.WithTimeout(r.Context(), readyTime)
	defer cancel()
	checks := map[string]string{}
	status := http.StatusOK
	for _, c := range s.checks(ctx) {
		checks[c.Name] = "well"
		if !c.Well {
			checks[c.Name], status = "not well", http.StatusServiceUnavailable
		}
	}
	select {
	case <-s.stopping:
		return errStopping
	default:
	}
	answer := held{header: http.Header{"Content-Type": {"application/json"}}, status: status}
	if err := json.MarshalWrite(&answer.body, map[string]any{"ready": status == http.StatusOK, "checks": checks}, json.Deterministic(true)); err != nil {
		return fmt.Errorf("write readiness: %w", err)
	}
	s.sent(r, answer.send(w))
	return nil
}

func (s *Server) describe(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	w.Header().Set("Content-Type", "application/openapi+json")
	w.Header().Set("Cache-Control", "no-cache")
	_, err := w.Write(s.openapi)
	s.sent(r, err)
	return nil
}

func (s *Server) metrics(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	promhttp.HandlerFor(s.Metrics, promhttp.HandlerOpts{}).ServeHTTP(w, r)
	return nil
}
