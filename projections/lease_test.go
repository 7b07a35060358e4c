package projections_test

import (
	"context"
	"fmt"
	"testing"

	"bydark/projections"
	"bydark/projections/projectiontest"
)

// Of runners on one PostgreSQL one folds; the others, and those that only watch, know as much as it does. When it ends, another goes on.
func TestOneFolds(t *testing.T) {
	dsn := projectiontest.Postgres(t)
	h := newHouse(t)
	open := func() *projections.Runner[tally] {
		s, err := projections.OpenPostgres(t.Context(), dsn, nil)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { closeStore(t, s) })
		makeTables(t, s)
		return h.runner(s)
	}
	first, second, watcher := open(), open(), open()
	ctx, cancel := context.WithCancel(context.Background())
	watched := make(chan error, 1)
	go func() { watched <- watcher.Watch(ctx) }() // before anybody folds
	stop := run(t, first)
	wait(t, first, h.say(t, "j", `["ridge"]`))
	run(t, second)
	changes := watcher.Subscribe()
	defer changes.Close()
	all := []*projections.Runner[tally]{first, second, watcher}
	for i := range 20 {
		last := h.say(t, fmt.Sprint("j", i%3), `["ridge"]`)
		for _, r := range all {
			wait(t, r, last)
		}
	}
	changed, err := changes.Next(t.Context())
	if err != nil || len(changed) == 0 || changed[0].Company != "acme" && changed[0].Company != "" {
		t.Errorf("the watcher is told of %v, %v", changed, err)
	}
	if a, b, c := first.Status(), second.Status(), watcher.Status(); a.Events < 20 || b.Events != 0 || c.Events != 0 {
		t.Errorf("%d, %d and %d events are folded, want all by the first", a.Events, b.Events, c.Events)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	last := h.say(t, "j", `["hip"]`)
	for _, r := range all[1:] {
		wait(t, r, last)
	}
	if got := second.Status().Events; got != 1 {
		t.Errorf("the second folded %d events, want 1", got)
	}
	cancel()
	if err := <-watched; err != nil {
		t.Error(err)
	}
	sound(t, second)
}
