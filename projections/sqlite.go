package projections

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"path/filepath"

	"github.com/jmoiron/sqlx"
)

// sqliteFile is the database in a directory.
const sqliteFile = "views.db"

// readers is how many connections read a SQLite file at once.
const readers = 4

// OpenSQLite opens the views in a directory that no other process and no other Store uses, and makes their tables if need be. A file
// that cannot be trusted is put aside, and log is told (nil is slog.Default); the runner then folds all again.
//
// Fails with ErrNewer.
func OpenSQLite(ctx context.Context, dir string, log *slog.Logger) (*Store, error) {
	if log == nil {
		log = slog.Default()
	}
	file := filepath.Join(dir, sqliteFile)
	if err := admit(ctx, file, log); err != nil {
		return nil, fmt.Errorf("open the views: %w", err)
	}
	s := &Store{dialect: sqliteDialect{}, log: log, columns: map[string][]column{}}
	s.closed = func(damaged bool) error { return seal(file, damaged) }
	err := s.connectSQLite(file)
	if err == nil {
		err = s.migrate(ctx)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open the views in %s: %w", file, err), s.drop())
	}
	return s, nil
}

func (s *Store) connectSQLite(file string) (err error) {
	if s.write, err = connectSQLite(file, "_txlock=immediate&_pragma=cache_size(-65536)"); err != nil {
		return err
	}
	s.write.SetMaxOpenConns(1)
	if err := s.write.Ping(); err != nil { // so that the file is there when the readers come
		return err
	}
	if s.read, err = connectSQLite(file, "_pragma=query_only(1)"); err != nil {
		return err
	}
	s.read.SetMaxOpenConns(readers)
	s.read.SetMaxIdleConns(readers)
	return nil
}

// drop closes what is open of a store that could not be opened whole.
func (s *Store) drop() error {
	var err error
	for _, db := range []*sqlx.DB{s.read, s.write} {
		if db != nil {
			err = errors.Join(err, db.Close())
		}
	}
	return err
}

// connectSQLite makes a pool. The pragma busy_timeout must come first, or those after it meet a busy file without it.
func connectSQLite(file, extra string) (*sqlx.DB, error) {
	dsn := url.URL{Scheme: "file", Opaque: (&url.URL{Path: file}).EscapedPath(), RawQuery: "_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)" +
		"&_pragma=synchronous(NORMAL)&_pragma=foreign_keys(1)&_pragma=trusted_schema(0)&_pragma=cell_size_check(1)" +
		"&_pragma=journal_size_limit(16777216)&" + extra}
	return sqlx.Open("sqlite", dsn.String())
}

func init() { sqlx.BindDriver("sqlite", sqlx.QUESTION) }
