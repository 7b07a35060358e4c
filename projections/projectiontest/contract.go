// Package projectiontest says what a view must keep, whatever it shows, and tries it on every database: rows folded as the events came in
// are those folded anew; a fold may be cut after any event and gone on with, by this runner or another; what fails half way leaves
// nothing; and several runners together do what one does.
package projectiontest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/projections"
)

// Contract is what the views of a stream are tried with.
type Contract[S any] struct {
	Stream  journal.Stream
	Fold    projections.Fold[S]
	History projections.History
	Views   []projections.View[S]
	// Events are reported in this order. Subject says of which job each is; the journal fills in the rest. All must be foldable unless
	// the case is about those that are not. Some dozens, of three jobs, say much.
	Events []journal.Entry
	// Prepare makes tables that no migration makes. It may be nil.
	Prepare func(t testing.TB, s *projections.Store)
}

// cutsOnPostgres is after how many of the events the fold is cut there; on SQLite it is cut after each.
const cutsOnPostgres = 6

// Run tries the views, and gives the dump of the tables, which is the same on all databases.
func (c Contract[S]) Run(t *testing.T) string {
	t.Helper()
	b := &bench[S]{Contract: c, log: openLog(t)}
	for _, k := range []kind{sqliteKind, postgresKind} {
		b.live(t, k)
		b.failing(t, k)
		b.competing(t, k)
	}
	tails := map[string]journal.Tail{}
	for i, e := range c.Events {
		tail, err := b.log.Append(t.Context(), e.Subject, tails[e.Subject], e)
		if err != nil {
			t.Fatalf("event %d: %v", i, err)
		}
		tails[e.Subject] = tail
		for _, p := range b.parties {
			p.step(t)
		}
		b.cut(t, sqliteKind)
		if every := max(len(c.Events)/cutsOnPostgres, 1); i%every == every-1 {
			b.cut(t, postgresKind)
		}
	}
	want := ""
	for _, p := range b.parties {
		got := p.dump(t, uint64(len(c.Events)))
		if want == "" {
			want = got
		}
		if got != want {
			t.Errorf("%s and %s differ: %s", b.parties[0].name, p.name, difference(want, got))
		}
	}
	return want
}

// party folds the same log in its own way.
type party struct {
	name string
	step func(t *testing.T)                       // called when one more event is in the log
	dump func(t *testing.T, events uint64) string // called when all are
}

type bench[S any] struct {
	Contract[S]
	log     *journal.Journal
	parties []party
}

func (b *bench[S]) runner(s *projections.Store, views []projections.View[S]) *projections.Runner[S] {
	return b.loggingRunner(s, views, slog.New(slog.DiscardHandler))
}

func (b *bench[S]) loggingRunner(s *projections.Store, views []projections.View[S], log *slog.Logger) *projections.Runner[S] {
	return projections.NewRunner(projections.Config[S]{
		Journal: b.log, Stream: b.Stream, Store: s, Fold: b.Fold, History: b.History, Views: views,
		Now: clock, Log: log,
		Keep: 2, Hold: 4, // so that states are folded from the history, too
	})
}

func clock() time.Time { return time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC) }

// live folds each event when it comes, and at the end looks twice and folds all anew, twice.
func (b *bench[S]) live(t *testing.T, k kind) {
	s := b.open(t, k.make(t))
	r := b.runner(s, b.Views)
	b.parties = append(b.parties, party{
		name: k.name + ", folded as it came",
		step: func(t *testing.T) { catchUp(t, r) },
		dump: func(t *testing.T, events uint64) string {
			first := dump(t, r)
			catchUp(t, r)
			catchUp(t, b.runner(s, b.Views))
			same(t, k.name+": folded as it came, and again", first, dump(t, r))
			for range 2 {
				done, err := r.Rebuild(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if done.Events != events {
					t.Errorf("%s: rebuild folded %d events, want %d", k.name, done.Events, events)
				}
				same(t, k.name+": folded as it came, and folded anew", first, dump(t, r))
			}
			return first
		},
	})
}

// cut folds what is there, closes, opens, and folds the rest in one go.
func (b *bench[S]) cut(t *testing.T, k kind) {
	open := k.make(t)
	s := open(t)
	b.prepare(t, s)
	catchUp(t, b.runner(s, b.Views))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	cut := len(b.parties)
	b.parties = append(b.parties, party{
		name: fmt.Sprintf("%s, cut (party %d)", k.name, cut),
		step: func(*testing.T) {},
		dump: func(t *testing.T, _ uint64) string {
			s := open(t)
			defer s.Close() // the next opening would tell
			r := b.runner(s, b.Views)
			catchUp(t, r)
			return dump(t, r)
		},
	})
}

// errBroken is what a database says that cannot be reached.
var errBroken = fmt.Errorf("broken on purpose: %w", context.DeadlineExceeded)

// failing lets each view fail once after each of its writes, so that all that was written has to be taken back.
func (b *bench[S]) failing(t *testing.T, k kind) {
	views := make([]projections.View[S], len(b.Views))
	for i, v := range b.Views {
		views[i] = &brittle[S]{View: v}
	}
	r := b.runner(b.open(t, k.make(t)), views)
	b.parties = append(b.parties, party{
		name: k.name + ", each write failing once",
		step: func(t *testing.T) {
			for range 10 * (len(views) + 1) { // stopped jobs are tried again each time, and fail too
				err := r.CatchUp(t.Context())
				if err == nil {
					return
				}
				if !errors.Is(err, errBroken) {
					t.Fatal(err)
				}
			}
			t.Fatal("a write that fails once fails for ever")
		},
		dump: func(t *testing.T, _ uint64) string { return dump(t, r) },
	})
}

// brittle fails after the first write of each event.
type brittle[S any] struct {
	projections.View[S]
	failed uint64 // the last event at which it did
}

func (v *brittle[S]) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[S]) error {
	if err := v.View.Write(ctx, tx, changes); err != nil {
		return err
	}
	for _, c := range changes {
		if c.Sequence > v.failed {
			v.failed = c.Sequence
			return errBroken
		}
	}
	return nil
}

// competing lets two runners fold at once, from the first event to the last.
func (b *bench[S]) competing(t *testing.T, k kind) {
	open := k.make(t)
	stores := []*projections.Store{b.open(t, open)}
	if k.shared {
		stores = append(stores, b.open(t, open))
	} else {
		stores = append(stores, stores[0])
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, len(stores))
	runners := make([]*projections.Runner[S], len(stores))
	for i, s := range stores {
		runners[i] = b.loggingRunner(s, b.Views, slog.New(strict{t}))
		go func() { ended <- runners[i].Run(ctx) }()
	}
	stop := func() {
		cancel()
		for range stores {
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
	}
	t.Cleanup(cancel)
	b.parties = append(b.parties, party{
		name: k.name + ", two runners at once",
		step: func(*testing.T) {},
		dump: func(t *testing.T, events uint64) string {
			for _, r := range runners {
				if err := r.Wait(t.Context(), events); err != nil {
					t.Fatal(err)
				}
			}
			stop()
			return dump(t, runners[0])
		},
	})
}

// strict takes a failed fold for a failed test: to lose a race is no fault, and must not look like one.
type strict struct{ t *testing.T }

func (strict) Enabled(context.Context, slog.Level) bool { return true }
func (h strict) WithAttrs([]slog.Attr) slog.Handler     { return h }
func (h strict) WithGroup(string) slog.Handler          { return h }
func (h strict) Handle(_ context.Context, r slog.Record) error {
	if strings.HasPrefix(r.Message, "folding failed") {
		r.Attrs(func(a slog.Attr) bool {
			h.t.Errorf("%s: %v", r.Message, a)
			return true
		})
	}
	return nil
}

// open opens a store for as long as the test runs.
func (b *bench[S]) open(t *testing.T, open func(testing.TB) *projections.Store) *projections.Store {
	s := open(t)
	b.prepare(t, s)
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func (b *bench[S]) prepare(t *testing.T, s *projections.Store) {
	if b.Prepare != nil {
		b.Prepare(t, s)
	}
}

func catchUp[S any](t *testing.T, r *projections.Runner[S]) {
	t.Helper()
	if err := r.CatchUp(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func dump[S any](t *testing.T, r *projections.Runner[S]) string {
	t.Helper()
	var out bytes.Buffer
	if err := r.Dump(t.Context(), &out); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func same(t *testing.T, what, a, b string) {
	t.Helper()
	if a != b {
		t.Errorf("%s differ: %s", what, difference(a, b))
	}
}

// difference shows the first line in which two dumps differ.
func difference(a, b string) string {
	as, bs := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range max(len(as), len(bs)) {
		x, y := "(nothing)", "(nothing)"
		if i < len(as) {
			x = as[i]
		}
		if i < len(bs) {
			y = bs[i]
		}
		if x != y {
			return fmt.Sprintf("line %d\n\t%s\n\t%s", i+1, x, y)
		}
	}
	return "in nothing"
}
