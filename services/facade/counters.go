package facade

import (
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// counters are what the facade counts. Their labels are routes, statuses and codes of
// refusals, never what a company, a person or a roof is called.
type counters struct {
	answers *prometheus.CounterVec
	took    *prometheus.HistogramVec
	reports *prometheus.CounterVec
	refused *prometheus.CounterVec
	faults  prometheus.Counter
	badKeys prometheus.Counter
	streams prometheus.Gauge
	ready   *prometheus.GaugeVec
}

func newCounters(r *prometheus.Registry, room chan struct{}) (counters, error) {
	c := counters{
		answers: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "bydark_http_answers_total", Help: "Answers by route and status."}, []string{"route", "status"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "bydark_http_answer_seconds", Help: "Time from a request to its answer.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10},
		}, []string{"route"}),
		reports: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "bydark_reports_total", Help: "Reports by what became of them; open is one whose end is not known."}, []string{"became"}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "bydark_refusals_total", Help: "Refused reports by the rule that refused them."}, []string{"code"}),
		faults:  prometheus.NewCounter(prometheus.CounterOpts{Name: "bydark_http_faults_total", Help: "Requests that broke on our side."}),
		badKeys: prometheus.NewCounter(prometheus.CounterOpts{Name: "bydark_http_bad_keys_total", Help: "Requests with a token or session that is not good."}),
		streams: prometheus.NewGauge(prometheus.GaugeOpts{Name: "bydark_http_live_streams", Help: "Live streams that are open."}),
		ready:   prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "bydark_ready", Help: "1 when this was well as somebody last asked /readyz, else 0."}, []string{"check"}),
	}
	underWay := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "bydark_http_under_way", Help: "Requests under way."}, func() float64 { return float64(len(room)) })
	for _, became := range []string{"accepted", "repeated", "refused", "open"} {
		c.reports.WithLabelValues(became)
	}
	for _, m := range []prometheus.Collector{c.answers, c.took, c.reports, c.refused, c.faults, c.badKeys, c.streams, c.ready, underWay} {
		if err := r.Register(m); err != nil {
			return counters{}, err
		}
	}
	return c, nil
}

func (c counters) answered(route string, status int, took time.Duration) {
	c.answers.WithLabelValues(route, strconv.Itoa(status)).Inc()
	c.took.WithLabelValues(route).Observe(took.Seconds())
}

// reported counts what became of one report.
func (c counters) reported(became result, err error) {
	if err != nil {
		c.reports.WithLabelValues("open").Inc()
		return
	}
	c.reports.WithLabelValues(became.Status).Inc()
	if became.Problem != nil {
		c.refused.WithLabelValues(became.Problem.Code).Inc()
	}
}
