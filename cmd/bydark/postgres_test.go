package main

import (
	"database/sql"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/lib/pq"

	"bydark/events/journal/journaltest"
	"bydark/projections/projectiontest"
)

// keeper is a connection of the database's keeper.
func keeper(t testing.TB, dsn string) *sql.DB {
	t.Helper()
	connector, err := pq.NewConnector(dsn)
	if err != nil {
		t.Fatal(err)
	}
	db := sql.OpenDB(connector)
	t.Cleanup(func() { _ = db.Close() }) // its server may be gone
	return db
}

// F48: the database is killed, made read-only, its connections are ended again and again, or taken by others. Reports are taken all the
// while, and when it is over the views show them, and are what the log folds to.
func TestDatabaseFaults(t *testing.T) {
	t.Parallel()
	db := projectiontest.StartMortal(t)
	r := startIn(t, elsewhere{Postgres: db.DSN}, time.Now)
	r.crew.open("job")
	do := func(t testing.TB, commands ...string) {
		t.Helper()
		k := keeper(t, db.DSN)
		for _, command := range commands {
			if _, err := k.Exec(command); err != nil {
				t.Fatal(err)
			}
		}
	}
	const endAll = `select pg_terminate_backend(pid) from pg_stat_activity where datname = current_database() and pid <> pg_backend_pid()`
	number := 0
	report := func() uint64 {
		number++
		return r.crew.accept("job", tell(fmt.Sprint("report ", number), "panel-set", number, roofReport{"piece": fmt.Sprintf("A-%02d", 1+number%12)}))
	}
	for _, fault := range []struct {
		name   string
		during func(report func() uint64)
	}{
		{"killed", func(report func() uint64) {
			db.Kill(t)
			report()
			report()
			db.Start(t)
		}},
		{"read-only", func(report func() uint64) {
			do(t, `alter database test0 set default_transaction_read_only = on`, endAll)
			report()
			report()
			do(t, `set default_transaction_read_only = off; set transaction_read_only = off; alter database test0 set default_transaction_read_only = off`, endAll)
		}},
		{"connections ended in a loop", func(report func() uint64) {
			for range 10 {
				report()
				do(t, endAll)
			}
		}},
		{"too many connections", func(report func() uint64) {
			do(t, endAll)
			crowd := keeper(t, db.DSN)
			var held []*sql.Conn
			for range 300 {
				c, err := crowd.Conn(t.Context())
				if err != nil {
					break // all are taken
				}
				held = append(held, c)
			}
			t.Logf("%d connections are held", len(held))
			report()
			report()
			for _, c := range held {
				_ = c.Close() // it was idle
			}
			_ = crowd.Close()
		}},
	} {
		begun, n := time.Now(), journaltest.Rounds(t, 1)
		for range n {
			last := report()
			r.crew.isFolded("job", last)
			fault.during(report)
			r.crew.isFolded("job", report())
		}
		t.Logf("F48 %s rounds=%d seconds=%.1f", fault.name, n, time.Since(begun).Seconds())
	}
	if status, text := r.crew.ask(http.MethodGet, "/readyz", "", ""); status != http.StatusOK {
		t.Errorf("ready: %d %s", status, text)
	}
	live := r.told(t)
	if _, err := r.runner.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if anew := r.told(t); anew != live {
		t.Errorf("live:\n%s\nfolded anew:\n%s", live, anew)
	}
}
