package projectiontest

import (
	"testing"

	"bydark/events/journal"
	"bydark/projections"
)

// kind is a database that the program supports.
type kind struct {
	name   string
	shared bool // several stores may be open on one database
	// make makes an empty database and gives what opens it, again and again.
	make func(t testing.TB) (open func(testing.TB) *projections.Store)
}

var sqliteKind = kind{name: "sqlite", make: func(t testing.TB) func(testing.TB) *projections.Store {
	dir := t.TempDir()
	return func(t testing.TB) *projections.Store {
		s, err := projections.OpenSQLite(t.Context(), dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
}}

var postgresKind = kind{name: "postgres", shared: true, make: func(t testing.TB) func(testing.TB) *projections.Store {
	dsn := Postgres(t)
	return func(t testing.TB) *projections.Store {
		s, err := projections.OpenPostgres(t.Context(), dsn, nil)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
}}

// EachStore runs a test once for each database, with an empty store that is closed at the end.
func EachStore(t *testing.T, f func(t *testing.T, s *projections.Store)) {
	for _, k := range []kind{sqliteKind, postgresKind} {
		t.Run(k.name, func(t *testing.T) {
			s := k.make(t)(t)
			t.Cleanup(func() {
				if err := s.Close(); err != nil {
					t.Error(err)
				}
			})
			f(t, s)
		})
	}
}

// openLog is an empty log in this process.
func openLog(t testing.TB) *journal.Journal {
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
	return j
}
