package facade

import (
	"context"
	"encoding/json/v2"
	"fmt"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
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
	for _, c := range s.Ready {
		checks[c.Name] = "well"
		if err := c.Well(ctx); err != nil {
			checks[c.Name], status = "not well", http.StatusServiceUnavailable
			s.Log.WarnContext(ctx, "not ready", "check", c.Name, "error", err)
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

// counters are what the facade counts. Their labels are routes, methods and statuses,
// never what a company or person is called.
type counters struct {
	answers *prometheus.CounterVec
	took    *prometheus.HistogramVec
	faults  prometheus.Counter
	badKeys prometheus.Counter
	streams prometheus.Gauge
}

func newCounters(r *prometheus.Registry) (counters, error) {
	c := counters{
		answers: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "bydark_http_answers_total", Help: "Answers by route, method and status."}, []string{"route", "status"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "bydark_http_answer_seconds", Help: "Time from a request to its answer.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10},
		}, []string{"route"}),
		faults:  prometheus.NewCounter(prometheus.CounterOpts{Name: "bydark_http_faults_total", Help: "Requests that broke on our side."}),
		badKeys: prometheus.NewCounter(prometheus.CounterOpts{Name: "bydark_http_bad_keys_total", Help: "Requests with a token or session that is not good."}),
		streams: prometheus.NewGauge(prometheus.GaugeOpts{Name: "bydark_http_live_streams", Help: "Live streams that are open."}),
	}
	for _, m := range []prometheus.Collector{c.answers, c.took, c.faults, c.badKeys, c.streams} {
		if err := r.Register(m); err != nil {
			return counters{}, err
		}
	}
	return c, nil
}

func (c counters) answered(route string, status int, took time.Duration) {
	c.answers.WithLabelValues(route, fmt.Sprint(status)).Inc()
	c.took.WithLabelValues(route).Observe(took.Seconds())
}
