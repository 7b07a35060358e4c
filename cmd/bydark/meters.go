package main

import (
	"context"
	"errors"
	"runtime"
	"time"

	"bydark/events/journal"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
)

// meters are what the house measures while it works. What the door counts stands beside
// it, what can be asked of the parts is asked when somebody looks.
type meters struct {
	appends *prometheus.HistogramVec
	folds   prometheus.Histogram
	batches prometheus.Histogram
}

func newMeters() *meters {
	return &meters{
		appends: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "bydark_log_append_seconds", Help: "Time from a decision to its event in the log, synced, by how it ended.",
			Buckets: []float64{.0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 15},
		}, []string{"end"}),
		folds: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "bydark_views_fold_seconds", Help: "Time to fold one batch of events into the views.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10},
		}),
		batches: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "bydark_views_batch_events", Help: "Events in one batch of folding.", Buckets: prometheus.ExponentialBuckets(1, 4, 7),
		}),
	}
}

func (m *meters) folded(events int, took time.Duration) {
	m.folds.Observe(took.Seconds())
	m.batches.Observe(float64(events))
}

func (m *meters) appended(took time.Duration, err error) {
	end := "fault"
	switch {
	case err == nil:
		end = "written"
	case errors.Is(err, journal.ErrConflict):
		end = "conflict"
	case errors.Is(err, journal.ErrFull):
		end = "full"
	case errors.Is(err, journal.ErrUnknown):
		end = "unknown"
	}
	m.appends.WithLabelValues(end).Observe(took.Seconds())
}

// measured is the registry of the house: the meters, and what its parts can be asked.
func (h *house) measured() *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	r.MustRegister(h.meters.appends, h.meters.folds, h.meters.batches, asked{h}, h.folds())
	r.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "bydark_build", Help: "1, with the version and the Go that built it.",
		ConstLabels: prometheus.Labels{"version": version(), "go": runtime.Version()},
	}, func() float64 { return 1 }))
	return r
}

// asked is what the house's parts are asked when somebody looks. What does not answer
// is left out: a number from before would look like one from now.
type asked struct{ h *house }

// askTime is how long the log may take to say where it ends.
const askTime = 2 * time.Second

var (
	logEvents  = prometheus.NewDesc("bydark_log_events", "Events in the log, by stream.", []string{"stream"}, nil)
	diskFree   = prometheus.NewDesc("bydark_disk_free_bytes", "Free bytes on the disk of the log, where the log is in this process.", nil, nil)
	diskSpare  = prometheus.NewDesc("bydark_disk_spare_bytes", "Bytes that must stay free: below them reports are turned away.", nil, nil)
	viewsAt    = prometheus.NewDesc("bydark_views_folded_sequence", "The last event of the log that the views have folded.", nil, nil)
	viewsLag   = prometheus.NewDesc("bydark_views_lag_events", "Events of the log that the views have not folded.", nil, nil)
	viewsWell  = prometheus.NewDesc("bydark_views_caught_up", "1 when nothing was left to fold at the last look, else 0.", nil, nil)
	rebuilding = prometheus.NewDesc("bydark_views_rebuilding", "1 while all is folded from the beginning, else 0.", nil, nil)
	stopped    = prometheus.NewDesc("bydark_views_stopped_jobs", "Jobs whose views stand still at an event that cannot be folded.", nil, nil)
	rebuilds   = prometheus.NewDesc("bydark_views_rebuilds_total", "Folds from the beginning by this process.", nil, nil)
	fenced     = prometheus.NewDesc("bydark_views_fenced_total", "Batches of this process that another had folded first.", nil, nil)
)

// Describe names what Collect gives.
func (a asked) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{logEvents, diskFree, diskSpare, viewsAt, viewsLag, viewsWell, rebuilding, stopped, rebuilds, fenced} {
		to <- d
	}
}

// Collect asks.
func (a asked) Collect(to chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	s := a.h.runner.Status()
	gauge(viewsAt, float64(s.Folded.Sequence))
	gauge(viewsWell, oneIf(s.CaughtUp))
	gauge(rebuilding, oneIf(s.Rebuilding))
	gauge(stopped, float64(len(s.Stopped)))
	to <- prometheus.MustNewConstMetric(rebuilds, prometheus.CounterValue, float64(s.Rebuilds))
	to <- prometheus.MustNewConstMetric(fenced, prometheus.CounterValue, float64(s.Fenced))
	if free, spare, err := a.h.journal.Disk(); err != nil {
		a.h.log.Warn("free disk is not measured", "error", err)
	} else if spare > 0 {
		gauge(diskFree, float64(free))
		gauge(diskSpare, float64(spare))
	}
	ctx, cancel := context.WithTimeout(context.Background(), askTime)
	defer cancel()
	for _, stream := range journal.Streams() {
		end, err := a.h.journal.End(ctx, stream)
		if err != nil {
			a.h.log.Warn("the log does not say where it ends", "stream", stream, "error", err)
			return
		}
		gauge(logEvents, float64(end.Sequence), string(stream))
		if stream == journal.Roof {
			gauge(viewsLag, float64(end.Sequence-min(end.Sequence, s.Folded.Sequence)))
		}
	}
}

func oneIf(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
