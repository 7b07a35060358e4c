package projections

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jmoiron/sqlx"
)

var (
	// ErrNewer: the database was laid out by a newer version of the program. The text names both versions.
	ErrNewer = errors.New("views are of a newer version of the program")
	// ErrDamaged: the database cannot be trusted. A SQLite file is put aside when it is opened the next time, and folded again.
	ErrDamaged = errors.New("views are damaged")
	// ErrUnfit: the address of the database asks for something that must not be; the text says what it must be instead.
	ErrUnfit = errors.New("unfit to keep the views")
)

// readLimit ends a reading transaction. While one is open, the write-ahead log of SQLite only grows.
const readLimit = 5 * time.Second

// Store is a database of views. Several goroutines may use one.
type Store struct {
	dialect dialect
	write   *sqlx.DB
	read    *sqlx.DB
	log     *slog.Logger
	closed  func(damaged bool) error // what is left to do when both pools are closed
	damaged atomic.Bool              // something was read that cannot be

	mu      sync.Mutex // above columns
	columns map[string][]column
}

// Close closes the database. What SQLite still has in its write-ahead log goes into the file, and the file is sealed.
func (s *Store) Close() error {
	err := errors.Join(s.dialect.closing(s.read.Close()), s.dialect.tidy(s.write), s.dialect.closing(s.write.Close()))
	if s.closed != nil && (err == nil || s.damaged.Load()) {
		err = errors.Join(err, s.closed(s.damaged.Load()))
	}
	if err != nil {
		return fmt.Errorf("close the views: %w", err)
	}
	return nil
}

// Read runs f in a transaction that sees the tables as they were at one moment and cannot change them. It is ended by ctx, and after
// 5 seconds in any case: what takes longer reads page by page, each in a transaction of its own.
func (s *Store) Read(ctx context.Context, f func(tx *Tx) error) error {
	ctx, cancel := context.WithTimeout(ctx, readLimit)
	defer cancel()
	return s.readAll(ctx, f)
}

// readAll is Read without a limit in time.
func (s *Store) readAll(ctx context.Context, f func(tx *Tx) error) error {
	tx, err := s.read.BeginTxx(ctx, s.dialect.reading())
	if err != nil {
		return s.judged(fmt.Errorf("begin to read the views: %w", err))
	}
	defer tx.Rollback() // nothing was written
	return s.judged(f(&Tx{tx: tx, store: s}))
}

// inTx runs f in a writing transaction, commits if f gives nil, and rolls back if it fails or panics. An error of the commit is given
// back; the outcome is unknown then, and whoever cares reads the checkpoint. f may run again in another transaction after any error.
//
// The caller's context does not end a writing transaction: cancelled in mid-statement, a connection of SQLite is left in doubt, and one
// of PostgreSQL waits for the network all the same. Between statements f looks at the context itself.
func (s *Store) inTx(ctx context.Context, f func(tx *Tx) error) (err error) {
	if err := ctx.Err(); err != nil {
		return err
	}
	tx, err := s.write.BeginTxx(context.WithoutCancel(ctx), nil)
	if err != nil {
		return s.fault("begin", err)
	}
	done := false
	defer func() {
		if !done { // f failed or panics
			if e := tx.Rollback(); e != nil && !errors.Is(e, sql.ErrTxDone) {
				err = errors.Join(err, s.fault("roll back", e))
			}
		}
	}()
	if err := f(&Tx{tx: tx, store: s}); err != nil {
		return s.judged(err)
	}
	done = true
	if err := tx.Commit(); err != nil {
		return s.fault("commit", err)
	}
	return nil
}

func (s *Store) fault(verb string, err error) error {
	return s.judged(fmt.Errorf("%s a change of the views: %w", verb, err))
}

// judged marks the errors that say that the database is damaged.
func (s *Store) judged(err error) error {
	if s.dialect.isDamage(err) && !errors.Is(err, ErrDamaged) {
		err = fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	if errors.Is(err, ErrDamaged) {
		s.damaged.Store(true)
	}
	return err
}

// columnsOf gives a table's columns in order. They are read once.
func (s *Store) columnsOf(ctx context.Context, tx *Tx, table string) ([]column, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if c, ok := s.columns[table]; ok {
		return c, nil
	}
	c, err := s.dialect.columnsOf(ctx, tx, table)
	if err != nil {
		return nil, fmt.Errorf("columns of table %s: %w", table, err)
	}
	if len(c) == 0 {
		return nil, fmt.Errorf("there is no table %s", table)
	}
	s.columns[table] = c
	return c, nil
}
