package main

import (
	"context"

	"github.com/prometheus/client_golang/prometheus"
)

// reacted is what the parts that act by themselves are asked when somebody looks. What this process does not do, or has not done, is 0.
type reacted struct{ h *house }

var (
	deliveries = prometheus.NewDesc("bydark_deliveries_total", "What became of messages to subscribers, in this process; aside are those whose last attempt failed.", []string{"end"}, nil)
	retries    = prometheus.NewDesc("bydark_delivery_retries_total", "Attempts to deliver after a first one failed, in this process.", nil, nil)
	waiting    = prometheus.NewDesc("bydark_deliveries_waiting_events", "Events that wait to be told to subscribers, those of all subscribers together.", nil, nil)
	setAside   = prometheus.NewDesc("bydark_deliveries_aside", "Messages that could not be delivered and wait for somebody to send them again or to drop them.", nil, nil)
	looks      = prometheus.NewDesc("bydark_watch_looks_total", "Looks at all roofs by this process; failed are those in which a roof could not be looked at.", []string{"end"}, nil)
	lastLook   = prometheus.NewDesc("bydark_watch_last_look_timestamp_seconds", "When the last whole look at all roofs ended; 0 for never, as in a process that does not react.", nil, nil)
	warnings   = prometheus.NewDesc("bydark_watch_warnings_total", "Warnings that this process has issued, and those that it has cleared.", []string{"kind"}, nil)
)

// Describe names what Collect gives.
func (r reacted) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{deliveries, retries, waiting, setAside, looks, lastLook, warnings} {
		to <- d
	}
}

// Collect asks.
func (r reacted) Collect(to chan<- prometheus.Metric) {
	count := func(d *prometheus.Desc, n uint64, labels ...string) {
		to <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, float64(n), labels...)
	}
	gauge := func(d *prometheus.Desc, v float64) { to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v) }
	told := r.h.courier.Figures()
	count(deliveries, told.Delivered, "delivered")
	count(deliveries, told.Aside, "aside")
	count(retries, told.Retries)
	seen := r.h.watching.Figures()
	count(looks, seen.Looks, "whole")
	count(looks, seen.Failed, "failed")
	count(warnings, seen.Exposed, "exposed")
	count(warnings, seen.Cleared, "cleared")
	count(warnings, seen.Short, "short")
	last := 0.0
	if !seen.Last.IsZero() {
		last = float64(seen.Last.Unix())
	}
	gauge(lastLook, last)
	ctx, cancel := context.WithTimeout(context.Background(), askTime)
	defer cancel()
	backlog, left, err := r.h.courier.Backlog(ctx)
	if err != nil {
		r.h.log.Warn("the broker does not say what waits for subscribers", "error", err)
		return
	}
	gauge(waiting, float64(backlog))
	gauge(setAside, float64(left))
}
