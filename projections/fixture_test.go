package projections_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/record"
)

func at(n int) time.Time { return time.Date(2026, 5, 4, 7, 0, n, 0, time.UTC) }

// house is a log and what is written into it.
type house struct {
	log   *journal.Journal
	tails map[string]journal.Tail
	n     int
}

func newHouse(t testing.TB) *house {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir(), AnyFileSystem: true, Spare: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	return &house{log: j, tails: map[string]journal.Tail{}}
}

// failing is what a test and a property test have in common.
type failing interface {
	Helper()
	Fatal(args ...any)
}

// say appends an event and gives its sequence.
func (h *house) say(t failing, job, data string) uint64 {
	t.Helper()
	h.n++
	e := said(t, h.n, job, data)
	tail, err := h.log.Append(context.Background(), e.Subject, h.tails[e.Subject], e)
	if err != nil {
		t.Fatal(err)
	}
	h.tails[e.Subject] = tail
	return tail.Sequence
}

// fill appends n events of as many jobs as said, each with one of seven words, several at once.
func (h *house) fill(t testing.TB, n, jobs int) {
	t.Helper()
	var writers errgroup.Group
	for w := range 16 {
		writers.Go(func() error {
			for j := w; j < jobs; j += 16 {
				var tail journal.Tail
				for i := j; i < n; i += jobs {
					e := said(t, i, fmt.Sprint("j", j), fmt.Sprintf(`["w%d"]`, i%7))
					var err error
					if tail, err = h.log.Append(context.Background(), e.Subject, tail, e); err != nil {
						return err
					}
				}
			}
			return nil
		})
	}
	if err := writers.Wait(); err != nil {
		t.Fatal(err)
	}
}

// config folds the house's reports into tallies.
func (h *house) config(s *projections.Store) projections.Config[tally] {
	return projections.Config[tally]{
		Journal: h.log, Stream: journal.Roof, Store: s, Fold: counting, History: record.Roof(), Views: views(),
		Now: func() time.Time { return at(0) }, Log: slog.New(slog.DiscardHandler), Keep: 3, Hold: 10,
	}
}

func (h *house) runner(s *projections.Store) *projections.Runner[tally] {
	return projections.NewRunner(h.config(s))
}

func openSQLite(t testing.TB, dir string) *projections.Store {
	t.Helper()
	s, err := projections.OpenSQLite(t.Context(), dir, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	makeTables(t, s)
	return s
}

func closeStore(t testing.TB, s *projections.Store) {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

func catchUp(t testing.TB, r *projections.Runner[tally]) {
	t.Helper()
	if err := r.CatchUp(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func dump(t testing.TB, r *projections.Runner[tally]) string {
	t.Helper()
	var out bytes.Buffer
	if err := r.Dump(t.Context(), &out); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// sound fails unless the tables are those of a fold from the beginning.
func sound(t testing.TB, r *projections.Runner[tally]) {
	t.Helper()
	live := dump(t, r)
	if _, err := r.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if anew := dump(t, r); anew != live {
		t.Errorf("live:\n%s\nfolded anew:\n%s", live, anew)
	}
}

// run runs a runner until the test or the returned function ends it.
func run(t testing.TB, r *projections.Runner[tally]) (stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- r.Run(ctx) }()
	stop = func() error {
		cancel()
		err := <-ended
		ended <- err
		return err
	}
	t.Cleanup(func() {
		if err := stop(); err != nil {
			t.Error(err)
		}
	})
	return stop
}

func wait(t testing.TB, r *projections.Runner[tally], sequence uint64) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if err := r.Wait(ctx, sequence); err != nil {
		t.Fatalf("event %d is not folded: %v; %+v", sequence, err, r.Status())
	}
}

// often counts how often a word was said in a job, as the view shows it.
func often(t testing.TB, s *projections.Store, job, word string) int {
	t.Helper()
	var n []int
	if err := s.Read(t.Context(), func(tx *projections.Tx) error {
		return tx.Select(t.Context(), &n, `select n from counts where company = ? and job = ? and word = ?`, "acme", job, word)
	}); err != nil {
		t.Fatal(err)
	}
	if len(n) == 0 {
		return 0
	}
	return n[0]
}
