package projections

import "context"

// Exec runs a command in a transaction of its own.
func (s *Store) Exec(ctx context.Context, command string, args ...any) error {
	return s.inTx(ctx, func(tx *Tx) error {
		_, err := tx.Exec(ctx, command, args...)
		return err
	})
}

// InTx is inTx.
func (s *Store) InTx(ctx context.Context, f func(tx *Tx) error) error { return s.inTx(ctx, f) }

// ColumnsOf are a table's columns.
func (s *Store) ColumnsOf(ctx context.Context, table string) (columns []column, err error) {
	err = s.Read(ctx, func(tx *Tx) error {
		columns, err = s.columnsOf(ctx, tx, table)
		return err
	})
	return columns, err
}
