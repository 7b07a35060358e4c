package main

import (
	"context"

	"bydark/services/watch"
)

// react runs what acts by itself on what the log tells, until ctx ends. Several
// processes may run it on one log: what one has done the others find there.
func (h *house) react(ctx context.Context) error {
	return together(ctx, h.watching.Run, h.courier.Run)
}

// watch makes what looks at every roof's night.
func (h *house) watch() *watch.Watch {
	return watch.New(watch.Config{
		Journal: h.journal, Jobs: h.jobs, People: h.people, Store: h.store, Sky: h.sky, Rules: watch.Usual(), Now: h.now, Log: h.log,
	})
}
