package projections_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"testing"

	"github.com/lib/pq"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
	"bydark/projections"
	"bydark/projections/projectiontest"
)

// F17: with no room for the views nothing is lost, and they catch up alone when there is room again.
func TestNoRoomForViews(t *testing.T) {
	h := newHouse(t)
	s := openSQLite(t, t.TempDir())
	defer closeStore(t, s)
	r := h.runner(s)
	run(t, r)
	wait(t, r, h.say(t, "j", `["ridge"]`))
	const pages = `pragma max_page_count = %d` // SQLite says "full" at it as at the end of a disk
	for range journaltest.Rounds(t, 1) {
		if err := s.Pragma(fmt.Sprintf(pages, 1)); err != nil { // not below what is used
			t.Fatal(err)
		}
		var last uint64
		for range 400 {
			last = h.say(t, "j", `["`+fmt.Sprintf("%01000d", h.n)+`"]`)
		}
		for r.Status().Fault == "" {
			if err := t.Context().Err(); err != nil {
				t.Fatal(err)
			}
		}
		if st := r.Status(); st.CaughtUp || len(st.Stopped) > 0 {
			t.Errorf("with a full disk: %+v", st)
		}
		if err := s.Pragma(fmt.Sprintf(pages, 1<<30)); err != nil {
			t.Fatal(err)
		}
		wait(t, r, last)
	}
	sound(t, r)
}

// slow is a view that stops in the middle of its transaction until it is let go.
type slow struct {
	sums
	inside chan struct{}
	goOn   chan struct{}
}

func (v slow) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[tally]) error {
	if err := v.sums.Write(ctx, tx, changes); err != nil {
		return err
	}
	if v.inside != nil {
		v.inside <- struct{}{}
		<-v.goOn
	}
	return nil
}

// F36: a runner that was thought dead goes on in mid-transaction when another has folded its events. Nothing of it counts.
func TestZombie(t *testing.T) {
	dsn := projectiontest.Postgres(t)
	h := newHouse(t)
	open := func() *projections.Store {
		s, err := projections.OpenPostgres(t.Context(), dsn, nil)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { closeStore(t, s) })
		return s
	}
	first, second := open(), open()
	makeTables(t, first)
	h.say(t, "j", `["ridge"]`)
	alive := h.runner(second)
	catchUp(t, alive)

	for round := range journaltest.Rounds(t, 1) {
		c := h.config(first)
		sleeper := slow{inside: make(chan struct{}), goOn: make(chan struct{})}
		c.Views = []projections.View[tally]{counts{1}, sleeper}
		zombie := projections.NewRunner(c)
		last := h.say(t, "j", `["ridge"]`)
		stop := run(t, zombie)
		<-sleeper.inside
		terminate(t, dsn, `state = 'idle in transaction'`) // what idle_in_transaction_session_timeout does in the end
		catchUp(t, alive)
		close(sleeper.goOn)
		wait(t, zombie, last)
		if err := stop(); err != nil {
			t.Fatal(err)
		}
		if got := often(t, second, "j", "ridge"); got != 2+round {
			t.Errorf("%d words are counted, want %d", got, 2+round)
		}
	}
	sound(t, alive)
}

// terminate ends connections of the database as its keeper would.
func terminate(t *testing.T, dsn, which string) {
	t.Helper()
	connector, err := pq.NewConnector(dsn)
	if err != nil {
		t.Fatal(err)
	}
	db := sql.OpenDB(connector)
	defer db.Close() // it holds nothing
	var n int
	if err := db.QueryRow(`select count(pg_terminate_backend(pid)) from pg_stat_activity
		where datname = current_database() and pid <> pg_backend_pid() and ` + which).Scan(&n); err != nil {
		t.Fatal(err)
	}
}

// F35: the connections of two runners are cut again and again while they fold; each event counts once.
func TestConnectionsCut(t *testing.T) {
	dsn := projectiontest.Postgres(t)
	h := newHouse(t)
	var runners []*projections.Runner[tally]
	for i := range 2 {
		s, err := projections.OpenPostgres(t.Context(), dsn, nil)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { closeStore(t, s) })
		if i == 0 {
			makeTables(t, s)
		}
		runners = append(runners, h.runner(s))
		run(t, runners[i])
	}
	var last uint64
	for i := range 20 * journaltest.Rounds(t, 10) {
		last = h.say(t, fmt.Sprint("j", i%5), `["ridge"]`)
		if i%20 == 10 {
			terminate(t, dsn, `true`)
		}
	}
	for _, r := range runners {
		wait(t, r, last)
	}
	sound(t, runners[0])
}

// F34: the connection is cut exactly at the commit: before the server has it, or after it, when only the answer is missing. Nobody can
// tell which, and each event counts once.
func TestCutAtCommit(t *testing.T) {
	dsn := projectiontest.Postgres(t)
	p := newCommitCutter(t, dsn)
	s, err := projections.OpenPostgres(t.Context(), p.dsn, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer closeStore(t, s)
	makeTables(t, s)
	h := newHouse(t)
	r := h.runner(s)
	catchUp(t, r)
	n := journaltest.Rounds(t, 20)
	for i := range n {
		h.say(t, fmt.Sprint("j", i%3), `["ridge"]`)
		p.cut.Store(int32(1 + i%2))
		if err := r.CatchUp(t.Context()); err == nil {
			t.Fatal("the connection was not cut")
		}
		catchUp(t, r)
	}
	var events int
	if err := s.Read(t.Context(), func(tx *projections.Tx) error { return tx.One(t.Context(), &events, `select sum(words) from sums`) }); err != nil {
		t.Fatal(err)
	}
	if events != n {
		t.Errorf("%d events are counted, want %d", events, n)
	}
	sound(t, r)
}

// A log that is closed ends the runner: there is nothing to wait for.
func TestLogClosed(t *testing.T) {
	s := openSQLite(t, t.TempDir())
	defer closeStore(t, s)
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir(), AnyFileSystem: true, Spare: 1})
	if err != nil {
		t.Fatal(err)
	}
	h := &house{log: j, tails: map[string]journal.Tail{}}
	r := h.runner(s)
	catchUp(t, r)
	ended := make(chan error, 1)
	go func() { ended <- r.Run(t.Context()) }()
	wait(t, r, h.say(t, "j", `["ridge"]`))
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; !errors.Is(err, journal.ErrClosed) {
		t.Errorf("the runner ended with %v, want ErrClosed", err)
	}
}
