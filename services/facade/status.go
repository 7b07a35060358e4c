package facade

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	dto "github.com/prometheus/client_model/go"

	"bydark/projections"
	"bydark/services/access"
)

// statusBody is the page for whoever runs the service: the same that /readyz and
// /metrics say, for a person.
type statusBody struct {
	Version string
	Since   string
	Checks  []checked
	Stopped []projections.Stopped // of the owner's company
	Others  int                   // jobs of other companies that stand still
	Now     []reading
	Times   []reading
	Routes  []reading
}

// checked is one of the things that must be well.
type checked struct {
	Name string
	Well bool
}

// reading is one thing measured, in words.
type reading struct {
	Name, Of, Words, Value string
}

func (s *Server) statusPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	ctx, cancel := context.WithTimeout(r.Context(), readyTime)
	defer cancel()
	well := s.checks(ctx)
	families, err := s.Metrics.Gather()
	if err != nil {
		return fmt.Errorf("gather what is measured: %w", err)
	}
	body := statusBody{Version: s.Version, Since: s.quotes.since.UTC().Format("2 Jan 2006 15:04 MST"), Checks: well}
	for _, job := range s.Runner.Status().Stopped {
		if job.Company == string(who.Company) {
			body.Stopped = append(body.Stopped, job)
		} else {
			body.Others++
		}
	}
	for _, f := range families {
		name := f.GetName()
		if !strings.HasPrefix(name, "bydark_") || name == "bydark_build" {
			continue
		}
		for _, m := range f.GetMetric() {
			row := reading{Name: name, Of: labelled(m), Words: f.GetHelp(), Value: shown(name, m)}
			switch {
			case name == "bydark_http_answer_seconds":
				body.Routes = append(body.Routes, row)
			case m.GetHistogram() != nil:
				body.Times = append(body.Times, row)
			case name != "bydark_http_answers_total": // the routes have their own table
				body.Now = append(body.Now, row)
			}
		}
	}
	return s.show(w, "status.html", sheet{Title: "Service", Who: who, Body: body})
}

// checks asks everything that must be well.
func (s *Server) checks(ctx context.Context) []checked {
	all := make([]checked, 0, len(s.Ready))
	for _, c := range s.Ready {
		err := c.Well(ctx)
		if err != nil {
			s.Log.WarnContext(ctx, "not ready", "check", c.Name, "error", err)
		}
		well := 1.0
		if err != nil {
			well = 0
		}
		s.count.ready.WithLabelValues(c.Name).Set(well)
		all = append(all, checked{c.Name, err == nil})
	}
	return all
}

// labelled is what a measure is of: the values of its labels.
func labelled(m *dto.Metric) string {
	var values []string
	for _, l := range m.GetLabel() {
		values = append(values, l.GetValue())
	}
	return strings.Join(values, ", ")
}

// shown is a measure as a person reads it.
func shown(name string, m *dto.Metric) string {
	switch {
	case m.GetHistogram() != nil:
		h := m.GetHistogram()
		if h.GetSampleCount() == 0 {
			return "none yet"
		}
		return fmt.Sprintf("%d; half within %s, 99 of 100 within %s", h.GetSampleCount(), amount(name, within(h, 0.5)), amount(name, within(h, 0.99)))
	case m.GetCounter() != nil:
		return amount(name, m.GetCounter().GetValue())
	}
	return amount(name, m.GetGauge().GetValue())
}

// within is the upper bound of the bucket that a share of all lies in, or below it.
func within(h *dto.Histogram, share float64) float64 {
	want := uint64(math.Ceil(share * float64(h.GetSampleCount())))
	i, _ := slices.BinarySearchFunc(h.GetBucket(), want, func(b *dto.Bucket, n uint64) int {
		if b.GetCumulativeCount() < n {
			return -1
		}
		return 1
	})
	if i == len(h.GetBucket()) {
		return math.Inf(1)
	}
	return h.GetBucket()[i].GetUpperBound()
}

// amount is a number with the unit that its name ends in.
func amount(name string, v float64) string {
	switch {
	case math.IsInf(v, 1):
		return "more than was thought of"
	case strings.HasSuffix(name, "_bytes"):
		return fmt.Sprintf("%.1f GB", v/1e9)
	case strings.HasSuffix(name, "_seconds"):
		return time.Duration(v * float64(time.Second)).String()
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
