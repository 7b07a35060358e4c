package projections

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/jmoiron/sqlx"
)

// Tx is a transaction, reading or writing. Questions are written with ? for arguments on either database. It is used by one goroutine
// and ends with the function that it was given to.
type Tx struct {
	tx       *sqlx.Tx
	store    *Store
	prepared map[string]*sqlx.Stmt
}

// Select reads all rows of a question into dest, a pointer to a slice, as sqlx does.
func (tx *Tx) Select(ctx context.Context, dest any, question string, args ...any) error {
	return tx.tx.SelectContext(ctx, dest, tx.tx.Rebind(question), args...)
}

// One reads the only row of a question into dest. Without a row it fails with sql.ErrNoRows.
func (tx *Tx) One(ctx context.Context, dest any, question string, args ...any) error {
	return tx.tx.GetContext(ctx, dest, tx.tx.Rebind(question), args...)
}

// Exec runs a command; it is prepared once in a transaction.
func (tx *Tx) Exec(ctx context.Context, command string, args ...any) (sql.Result, error) {
	stmt, ok := tx.prepared[command]
	if !ok {
		var err error
		if stmt, err = tx.tx.PreparexContext(ctx, tx.tx.Rebind(command)); err != nil {
			return nil, err
		}
		if tx.prepared == nil {
			tx.prepared = map[string]*sqlx.Stmt{}
		}
		tx.prepared[command] = stmt
	}
	return stmt.ExecContext(ctx, args...)
}

// Insert adds rows to a table, as many at once as the database likes. A row has one value for each of the columns: string, bool, an
// integer, float64, []byte or nil.
func (tx *Tx) Insert(ctx context.Context, table string, columns []string, rows [][]any) error {
	if len(rows) == 0 {
		return nil
	}
	if err := tx.store.dialect.add(ctx, tx, table, columns, rows); err != nil {
		return fmt.Errorf("add %d rows to %s: %w", len(rows), table, err)
	}
	return nil
}

func (tx *Tx) put(ctx context.Context, table string, columns []string, conflict string, rows [][]any) error {
	if len(rows) == 0 {
		return nil
	}
	if err := tx.store.dialect.insert(ctx, tx, table, columns, conflict, rows); err != nil {
		return fmt.Errorf("write %d rows into %s: %w", len(rows), table, err)
	}
	return nil
}

// within runs f so that it can fail without the rest of the transaction failing with it.
func (tx *Tx) within(ctx context.Context, f func() error) error {
	if _, err := tx.Exec(ctx, `savepoint job`); err != nil {
		return err
	}
	if err := f(); err != nil {
		if _, e := tx.Exec(ctx, `rollback to savepoint job`); e != nil {
			return errors.Join(err, e) // SQLite takes all back when its disk is full
		}
		return &undone{err}
	}
	_, err := tx.Exec(ctx, `release savepoint job`)
	return err
}

// undone is an error whose effects were taken back, so that the transaction can go on.
type undone struct{ err error }

func (u *undone) Error() string { return u.err.Error() }
func (u *undone) Unwrap() error { return u.err }
