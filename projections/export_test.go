package projections

import (
	"context"
	"net"
	"time"
)

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

// Pragma runs a command on the writing connection, outside transactions.
func (s *Store) Pragma(command string) error {
	_, err := s.write.Exec(command)
	return err
}

// CheckDSN says whether an address may be used.
func CheckDSN(dsn string) error {
	_, err := postgresConnector(dsn)
	return err
}

// Dial is how PostgreSQL is called, with another limit.
func Dial(ctx context.Context, network, address string, limit time.Duration) (net.Conn, error) {
	return dialer{network: limit}.DialContext(ctx, network, address)
}
