package main

import (
	"context"
	"runtime"
	"time"

	"bydark/events/journal"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
)

// meters are what the house measures while it works. What the door counts stands beside
// it, what can be asked of the parts is asked when somebody looks.
type meters struct {
	folds   prometheus.Histogram
	batches prometheus.Histogram
}

func newMeters() *meters {
	return &meters{
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

// measured is the registry of the house: the meters, and what its parts can be asked.
func (h *house) measured() *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	r.MustRegister(h.meters.folds, h.meters.batches, asked{h}, h.folds(), reacted{h})
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
	logAppends = prometheus.NewDesc("bydark_log_appends_total", "Appends by how they ended; unknown got no answer and is looked for again.", []string{"end"}, nil)
	logAppend  = prometheus.NewDesc("bydark_log_append_seconds", "Time an event took from the call to durable.", nil, nil)
	logSync    = prometheus.NewDesc("bydark_log_sync_seconds", "Time of each sync of the log's disk, where the log is in this process.", nil, nil)
	logGroup   = prometheus.NewDesc("bydark_log_group_size", "Appends that one sync served, where the log is in this process.", nil, nil)
	logEvents  = prometheus.NewDesc("bydark_log_events", "Events in the log, by stream.", []string{"stream"}, nil)
	diskFree   = prometheus.NewDesc("bydark_disk_free_bytes", "Free bytes on the disk of the log, where the log is in this process.", nil, nil)
	diskSpare  = prometheus.NewDesc("bydark_disk_spare_bytes", "Bytes that must stay free: below them reports are turned away.", nil, nil)
	viewsAt    = prometheus.NewDesc("bydark_views_folded_sequence", "The last event of the log that the views have folded.", nil, nil)
	viewsLag   = prometheus.NewDesc("bydark_views_lag_events", "Events of the log that the views have not folded.", nil, nil)
	viewsWell  = prometheus.NewDesc("bydark_views_caught_up", "1 when nothing was left to fold at the last look, else 0.", nil, nil)
	rebuilding = prometheus.NewDesc("bydark_views_rebuilding", "1 while all is folded from the beginning, else 0.", nil, nil)
	stopped    = prometheus.NewDesc("bydark_views_stopped_jobs", "Jobs whose views stand still at an event that cannot be folded.", nil, nil)
	rebuilds   = prometheus.NewDesc("bydark_views_rebuilds_total", "Folds from the beginning by this process.", nil, nil)
	badNodes   = prometheus.NewDesc("bydark_log_replica_faults", "Replicas that are not to be trusted, found at the last look; 0 without monitoring pages.", nil, nil)
	fenced     = prometheus.NewDesc("bydark_views_fenced_total", "Batches of this process that another had folded first.", nil, nil)
)

// Describe names what Collect gives.
func (a asked) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{logAppends, logAppend, logSync, logGroup, logEvents, diskFree, diskSpare, viewsAt, viewsLag, viewsWell, rebuilding, stopped, rebuilds, fenced, badNodes} {
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
	gauge(badNodes, float64(len(a.h.journal.ReplicaFaults())))
	to <- prometheus.MustNewConstMetric(rebuilds, prometheus.CounterValue, float64(s.Rebuilds))
	to <- prometheus.MustNewConstMetric(fenced, prometheus.CounterValue, float64(s.Fenced))
	if free, spare, err := a.h.journal.Disk(); err != nil {
		a.h.log.Warn("free disk is not measured", "error", err)
	} else if spare > 0 {
		gauge(diskFree, float64(free))
		gauge(diskSpare, float64(spare))
	}
	written := a.h.journal.Figures()
	for end, n := range map[string]uint64{"written": written.Stored, "conflict": written.Conflicts, "full": written.Full, "unknown": written.Unknown} {
		to <- prometheus.MustNewConstMetric(logAppends, prometheus.CounterValue, float64(n), end)
	}
	to <- histogram(logAppend, written.Append, time.Second)
	to <- histogram(logSync, written.Sync, time.Second)
	to <- histogram(logGroup, written.Group, 1)
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

// histogram is a distribution of the log's as Prometheus has them, in the given unit.
func histogram(d *prometheus.Desc, of journal.Distribution, unit time.Duration) prometheus.Metric {
	buckets := map[float64]uint64{}
	var n uint64
	for i, bound := range of.Bounds {
		n += of.Counts[i]
		buckets[float64(bound)/float64(unit)] = n
	}
	n += of.Counts[len(of.Bounds)]
	return prometheus.MustNewConstHistogram(d, n, float64(of.Sum)/float64(unit), buckets)
}

func oneIf(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
