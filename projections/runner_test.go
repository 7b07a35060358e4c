package projections_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/projectiontest"
	"bydark/projections/record"
)

func eachStore(t *testing.T, f func(t *testing.T, h *house, s *projections.Store)) {
	projectiontest.EachStore(t, func(t *testing.T, s *projections.Store) {
		makeTables(t, s)
		f(t, newHouse(t), s)
	})
}

// F32: a poison event stops its job and nothing else; a program that understands it goes on from there.
func TestPoisonStopsOneJob(t *testing.T) {
	for _, poison := range []string{`"undecodable`, `["hip", "panic"]`, `["hip", "unwritable"]`} {
		eachStore(t, func(t *testing.T, h *house, s *projections.Store) {
			r := h.runner(s)
			run(t, r)
			h.say(t, "bad", `["ridge"]`)
			h.say(t, "good", `["ridge"]`)
			wait(t, r, 2)
			at := h.say(t, "bad", poison)
			h.say(t, "bad", `["ridge"]`)
			wait(t, r, h.say(t, "good", `["ridge"]`))

			if got := often(t, s, "good", "ridge"); got != 2 {
				t.Errorf("the other job shows %d, want 2", got)
			}
			if got, hips := often(t, s, "bad", "ridge"), often(t, s, "bad", "hip"); got != 1 || hips != 0 {
				t.Errorf("the stopped job shows %d ridges and %d hips, want 1 and 0", got, hips)
			}
			status := r.Status().Stopped
			if len(status) != 1 || status[0].Job != "bad" || status[0].Sequence != at || status[0].Type != "bydark.test.said.v1" || status[0].Reason == "" {
				t.Errorf("stopped jobs are %+v", status)
			}
			var recorded []journal.Entry
			if err := s.Read(t.Context(), func(tx *projections.Tx) (err error) {
				recorded, err = record.Roof().Entries(t.Context(), tx, record.Query{Company: "acme", Job: "bad"})
				return err
			}); err != nil || len(recorded) != 3 {
				t.Errorf("%d events of the stopped job are recorded, want 3 (%v)", len(recorded), err)
			}
			sound(t, r)

			c := h.config(s)
			c.Views = []projections.View[tally]{forgiving{}, sums{}}
			c.Fold.Apply = func(n tally, e journal.Entry) (tally, error) {
				if next, err := counting.Apply(n, journal.Entry{Data: bytes.ReplaceAll(e.Data, []byte("panic"), []byte("valley"))}); err == nil {
					return next, nil
				}
				return n, nil
			}
			mended := projections.NewRunner(c)
			catchUp(t, mended)
			if stopped := mended.Status().Stopped; len(stopped) != 0 {
				t.Errorf("still stopped: %+v", stopped)
			}
			if got := often(t, s, "bad", "ridge"); got != 2 {
				t.Errorf("the mended job shows %d ridges, want 2", got)
			}
			sound(t, mended)
		})
	}
}

// forgiving is counts without its faults.
type forgiving struct{ counts }

func (forgiving) Version() int { return 1 }

func (forgiving) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[tally]) error {
	for i, c := range changes {
		changes[i].State = tally{}
		for word, n := range c.State {
			changes[i].State[strings.ReplaceAll(word, "unwritable", "written")] = n
		}
	}
	return counts{}.Write(ctx, tx, changes)
}

// F33: a checkpoint that is beyond the log, or of another one, is found, whatever else agrees.
func TestViewsOfAnotherLog(t *testing.T) {
	for _, c := range []struct {
		name          string
		first, second int
	}{{"later state", 12, 5}, {"same length", 7, 7}, {"earlier state", 3, 9}, {"log without events", 4, 0}} {
		t.Run(c.name, func(t *testing.T) {
			projectiontest.EachStore(t, func(t *testing.T, s *projections.Store) {
				makeTables(t, s)
				one, other := newHouse(t), newHouse(t)
				for range c.first {
					one.say(t, "j", `["ridge"]`)
				}
				catchUp(t, one.runner(s))
				for range c.second {
					other.say(t, "j", `["hip"]`)
				}
				r := other.runner(s)
				catchUp(t, r)
				if hips, ridges := often(t, s, "j", "hip"), often(t, s, "j", "ridge"); hips != c.second || ridges != 0 {
					t.Errorf("views show %d hips and %d ridges, want %d and 0", hips, ridges, c.second)
				}
				if got := r.Status().Folded.Sequence; got != uint64(c.second) {
					t.Errorf("folded up to %d, want %d", got, c.second)
				}
				sound(t, r)
			})
		})
	}
}

// A new version of a view or of the fold folds all again; an old program that still runs stands by.
func TestAnotherVersion(t *testing.T) {
	eachStore(t, func(t *testing.T, h *house, s *projections.Store) {
		old := h.runner(s)
		stop := run(t, old)
		wait(t, old, h.say(t, "j", `["ridge"]`))

		c := h.config(s)
		c.Views = []projections.View[tally]{counts{2}, sums{}}
		young := projections.NewRunner(c)
		catchUp(t, young)
		if got := young.Status().Rebuilds; got != 1 {
			t.Errorf("%d rebuilds by the new version, want 1", got)
		}
		h.say(t, "j", `["ridge"]`)
		for old.Status().Fault == "" { // it notices when the next event comes
			runtime.Gosched()
			if err := t.Context().Err(); err != nil {
				t.Fatal(err)
			}
		}
		if err := stop(); err != nil {
			t.Error(err)
		}
		if got := old.Status(); got.Folded.Sequence != 1 || got.Rebuilds != 1 {
			t.Errorf("the old version went on: %+v", got)
		}
		catchUp(t, young)
		sound(t, young)
	})
}

// F37: who reads while all is folded anew sees the rows from before or those from after.
func TestReadersDuringRebuild(t *testing.T) {
	eachStore(t, func(t *testing.T, h *house, s *projections.Store) {
		r := h.runner(s)
		for i := range 60 {
			h.say(t, fmt.Sprint("j", i%4), `["ridge"]`)
		}
		run(t, r)
		wait(t, r, 60)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		var readers sync.WaitGroup
		for range 2 {
			readers.Go(func() {
				last := uint64(60)
				for ctx.Err() == nil {
					if err := s.Read(context.Background(), func(tx *projections.Tx) error {
						var n, recorded int
						if err := tx.One(t.Context(), &n, `select coalesce(sum(n), 0) from counts`); err != nil {
							return err
						}
						if err := tx.One(t.Context(), &recorded, `select count(*) from record_ids`); err != nil {
							return err
						}
						p, err := projections.Checkpoint(t.Context(), tx, journal.Roof)
						if err == nil && (n != recorded || uint64(n) != p.Sequence || p.Sequence < last) {
							t.Errorf("a reader sees %d words, %d events, checkpoint %d after %d", n, recorded, p.Sequence, last)
						}
						last = p.Sequence
						return err
					}); err != nil {
						t.Error(err)
						return
					}
				}
			})
		}
		for i := range 10 {
			h.say(t, fmt.Sprint("j", i%4), `["ridge"]`)
			if _, err := r.Rebuild(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		wait(t, r, 70)
		cancel()
		readers.Wait()
		sound(t, r)
	})
}

// Two streams live in one store and do not touch each other.
func TestTwoStreams(t *testing.T) {
	eachStore(t, func(t *testing.T, h *house, s *projections.Store) {
		roof := h.runner(s)
		sky := projections.NewRunner(projections.Config[int]{
			Journal: h.log, Stream: journal.Sky, Store: s, History: record.Sky(), Now: h.config(s).Now, Log: slog.New(slog.DiscardHandler),
			Fold: projections.Fold[int]{
				New:   func(string, string) int { return 0 },
				Apply: func(n int, _ journal.Entry) (int, error) { return n + 1, nil },
			},
		})
		h.say(t, "j", `["ridge"]`)
		e := said(t, 1, "j", `{}`)
		subject, err := journal.SkySubject("acme", "j")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := h.log.Append(t.Context(), subject, journal.Tail{}, e); err != nil {
			t.Fatal(err)
		}
		catchUp(t, roof)
		if err := sky.CatchUp(t.Context()); err != nil {
			t.Fatal(err)
		}
		before := dump(t, roof)
		if _, err := sky.Rebuild(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := dump(t, roof); got != before {
			t.Errorf("a rebuild of one stream changed the other:\n%s\n%s", before, got)
		}
		var out bytes.Buffer
		if err := sky.Dump(t.Context(), &out); err != nil || strings.Count(out.String(), "\n") != 2 {
			t.Errorf("forecasts: %v\n%s", err, out.String())
		}
	})
}

// A subscriber learns of each job that changed, one that never asks holds up nobody.
func TestSubscription(t *testing.T) {
	h := newHouse(t)
	s := openSQLite(t, t.TempDir())
	defer closeStore(t, s)
	r := h.runner(s)
	run(t, r)
	wait(t, r, h.say(t, "j0", `[]`))
	lazy, keen := r.Subscribe(), r.Subscribe()
	defer lazy.Close()
	seen := map[string]uint64{}
	for i := range 30 {
		h.say(t, fmt.Sprint("j", i%3), `["ridge"]`)
	}
	for seen["j0"] < 29 || seen["j1"] < 30 || seen["j2"] < 31 {
		changed, err := keen.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range changed {
			if c.Sequence <= seen[c.Job] || c.Company != "acme" {
				t.Errorf("after %d: %+v", seen[c.Job], c)
			}
			seen[c.Job] = c.Sequence
		}
	}
	keen.Close()
	wait(t, r, 31)
	changed, err := lazy.Next(t.Context())
	if err != nil || len(changed) != 3 {
		t.Errorf("the lazy one gets %+v, %v", changed, err)
	}
	if _, err := r.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	changed, err = lazy.Next(t.Context())
	if err != nil || !slices.Equal(changed, []projections.Changed{{Sequence: 31}}) {
		t.Errorf("after a rebuild: %+v, %v", changed, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := lazy.Next(ctx); err == nil {
		t.Error("nothing changed, and Next gives no error")
	}
}

// A runner may be stopped at any moment and started again; nothing stays behind.
func TestStartAndStop(t *testing.T) {
	h := newHouse(t)
	s := openSQLite(t, t.TempDir())
	defer closeStore(t, s)
	h.say(t, "j", `["ridge"]`)
	catchUp(t, h.runner(s))
	before := goleak.IgnoreCurrent()
	r := h.runner(s)
	for i := range 30 {
		stop := run(t, r)
		n := h.say(t, "j", `["ridge"]`)
		if i%3 == 0 {
			wait(t, r, n)
		}
		if err := stop(); err != nil {
			t.Fatal(err)
		}
	}
	nothingStays(t, before, goleak.IgnoreAnyFunction("database/sql.(*DB).connectionOpener"))
	catchUp(t, r)
	if got := often(t, s, "j", "ridge"); got != 31 {
		t.Errorf("%d events are counted, want 31", got)
	}
	sound(t, r)
}

// nothingStays waits until no goroutine is left but those of the options: the broker ends a reader's some time after the reader.
func nothingStays(t *testing.T, options ...goleak.Option) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	for err := goleak.Find(options...); err != nil; err = goleak.Find(options...) {
		if ctx.Err() != nil {
			t.Fatal(err)
		}
	}
}

// Many events at once: several batches of a rebuild, states that do not fit into memory, lag.
func TestManyEvents(t *testing.T) {
	const n = 5_000
	h := newHouse(t)
	h.fill(t, n, 40)
	projectiontest.EachStore(t, func(t *testing.T, s *projections.Store) {
		makeTables(t, s)
		r := h.runner(s)
		if lag, err := r.Lag(t.Context()); err != nil || lag != n {
			t.Errorf("lag is %d, %v; want %d", lag, err, n)
		}
		catchUp(t, r)
		if lag, err := r.Lag(t.Context()); err != nil || lag != 0 {
			t.Errorf("lag is %d, %v; want 0", lag, err)
		}
		var total int
		if err := s.Read(t.Context(), func(tx *projections.Tx) error { return tx.One(t.Context(), &total, `select sum(n) from counts`) }); err != nil {
			t.Fatal(err)
		}
		if total != n {
			t.Errorf("%d words are counted, want %d", total, n)
		}
	})
}
