package projections_test

import (
	"errors"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"bydark/projections"
	"bydark/projections/projectiontest"
)

// Both databases have the same tables with the same columns, kinds and keys.
func TestSameTables(t *testing.T) {
	lists := map[string]string{
		"sqlite":   `select name from sqlite_schema where type = 'table' and name not like 'sqlite_%' and name not like 'goose%' order by name`,
		"postgres": `select tablename as name from pg_tables where schemaname = 'public' and tablename not like 'goose%' order by tablename`,
	}
	found := map[string]any{}
	projectiontest.EachStore(t, func(t *testing.T, s *projections.Store) {
		_, kind, _ := strings.Cut(t.Name(), "/")
		var tables []string
		if err := s.Read(t.Context(), func(tx *projections.Tx) error { return tx.Select(t.Context(), &tables, lists[kind]) }); err != nil {
			t.Fatal(err)
		}
		columns := map[string]any{}
		for _, table := range tables {
			c, err := s.ColumnsOf(t.Context(), table)
			if err != nil {
				t.Fatal(err)
			}
			columns[table] = c
		}
		if len(columns) < 4 {
			t.Errorf("there are only the tables %v", tables)
		}
		found[kind] = columns
	})
	if diff := cmp.Diff(found["sqlite"], found["postgres"]); diff != "" {
		t.Error(diff)
	}
}

// F38: an older program does not touch tables that it does not know.
func TestNewerTables(t *testing.T) {
	dir, dsn := t.TempDir(), projectiontest.Postgres(t)
	for name, open := range map[string]func() (*projections.Store, error){
		"sqlite":   func() (*projections.Store, error) { return projections.OpenSQLite(t.Context(), dir, nil) },
		"postgres": func() (*projections.Store, error) { return projections.OpenPostgres(t.Context(), dsn, nil) },
	} {
		t.Run(name, func(t *testing.T) {
			s, err := open()
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Exec(t.Context(), `insert into goose_db_version (version_id, is_applied) values (9999, true)`); err != nil {
				t.Fatal(err)
			}
			closeStore(t, s)
			if s, err = open(); !errors.Is(err, projections.ErrNewer) || !strings.Contains(err.Error(), "9999") {
				t.Errorf("opening gives %v, want ErrNewer with the version", err)
			}
			if s != nil {
				closeStore(t, s)
			}
		})
	}
}

// Q1, Q2, Q5: SQLite is set as it must be, and is a version without the damage that a reset of its write-ahead log could do.
func TestSQLiteIsSet(t *testing.T) {
	s := openSQLite(t, t.TempDir())
	defer closeStore(t, s)
	read := func(f func(*projections.Tx) error) error { return s.Read(t.Context(), f) }
	write := func(f func(*projections.Tx) error) error { return s.InTx(t.Context(), f) }
	for _, c := range []struct {
		question, want string
		in             func(func(*projections.Tx) error) error
	}{
		{`pragma journal_mode`, "wal", write}, {`pragma busy_timeout`, "5000", write}, {`pragma busy_timeout`, "5000", read},
		{`pragma synchronous`, "1", write}, {`pragma foreign_keys`, "1", write}, {`pragma trusted_schema`, "0", write},
		{`pragma trusted_schema`, "0", read}, {`pragma query_only`, "1", read}, {`pragma query_only`, "0", write},
		{`pragma journal_size_limit`, "16777216", write},
	} {
		var got string
		if err := c.in(func(tx *projections.Tx) error { return tx.One(t.Context(), &got, c.question) }); err != nil {
			t.Fatal(err)
		}
		if got != c.want {
			t.Errorf("%s is %s, want %s", c.question, got, c.want)
		}
	}
	var version string
	if err := read(func(tx *projections.Tx) error { return tx.One(t.Context(), &version, `select sqlite_version()`) }); err != nil {
		t.Fatal(err)
	}
	number := 0
	for _, part := range strings.Split(version, ".") {
		n, err := strconv.Atoi(part)
		if err != nil {
			t.Fatal(err)
		}
		number = number*1000 + n
	}
	if number < 3_051_003 {
		t.Errorf("SQLite is %s, want 3.51.3 or newer", version)
	}
	err := read(func(tx *projections.Tx) error {
		_, err := tx.Exec(t.Context(), `delete from record`)
		return err
	})
	if err == nil {
		t.Error("a reader can delete")
	}
}

// A transaction is taken back when its function fails and when it panics, and what it was about can be tried again.
func TestTransactions(t *testing.T) {
	projectiontest.EachStore(t, func(t *testing.T, s *projections.Store) {
		makeTables(t, s)
		failed := errors.New("failed")
		insert := func(tx *projections.Tx) error {
			_, err := tx.Exec(t.Context(), `insert into sums (company, job, words) values ('a', 'b', 1)`)
			return err
		}
		if err := s.InTx(t.Context(), func(tx *projections.Tx) error { return errors.Join(insert(tx), failed) }); !errors.Is(err, failed) {
			t.Errorf("the function's error does not come back: %v", err)
		}
		func() {
			defer func() {
				if recover() == nil {
					t.Error("the panic does not come back")
				}
			}()
			t.Error(s.InTx(t.Context(), func(tx *projections.Tx) error {
				if err := insert(tx); err != nil {
					t.Error(err)
				}
				panic("on purpose")
			}))
		}()
		if err := s.InTx(t.Context(), insert); err != nil {
			t.Errorf("what was taken back is still there: %v", err)
		}
	})
}
