package main

import (
	"context"
	"errors"
	"net"

	"github.com/prometheus/client_golang/prometheus"

	"bydark/services/facade"
)

// roles are what a process does. Several processes on one broker and one database may share the work; one that is given no role has all.
type roles struct {
	Take  bool `help:"Role: take reports and answer people. A process without it answers only /healthz, /readyz and /metrics."`
	Fold  bool `help:"Role: fold the views. Of several such processes one folds; the others are ready to go on when it ends."`
	React bool `help:"Role: send warnings and changes out."`
}

var everything = roles{Take: true, Fold: true, React: true}

// settled gives all roles to whoever has none. Fewer than all are for several processes, which need a broker and a database beside them.
func (r roles) settled(w where) (roles, error) {
	switch {
	case r == roles{}:
		return everything, nil
	case r != everything && (w.Nats == "" || w.Postgres == ""):
		return r, &badInput{errors.New("--take, --fold and --react share work between processes on one broker and one database: want --nats and --postgres too")}
	}
	return r, nil
}

// serve runs the parts of the house that its roles need, until ctx ends or one of them fails.
func (h *house) serve(ctx context.Context, l net.Listener, door *facade.Server, r roles) error {
	services := []func(context.Context) error{
		h.people.Run,
		h.journal.Wait,
		h.journal.WatchReplicas,
		h.hatch,
		h.jobs.Run,
		func(ctx context.Context) error { return door.Run(ctx, l) },
	}
	if r.Fold {
		services = append(services, h.runner.Run)
	} else {
		services = append(services, h.runner.Watch)
	}
	if r.React {
		services = append(services, h.react)
		if h.fetch != nil {
			services = append(services, h.fetch)
		}
	}
	return together(ctx, services...)
}

// folds tells whether this process is the one that folds.
func (h *house) folds() prometheus.Collector {
	return prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "bydark_views_leader", Help: "1 in the one process that folds the views, 0 in the others.",
	}, func() float64 {
		if h.runner.Status().Leads {
			return 1
		}
		return 0
	})
}
