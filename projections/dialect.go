package projections

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"modernc.org/sqlite"
)

// dialect is all in which the databases differ once they are open.
type dialect interface {
	name() string // of the folder of migrations
	migrator(db *sql.DB, migrations fs.FS) (*goose.Provider, error)
	reading() *sql.TxOptions
	columnsOf(ctx context.Context, tx *Tx, table string) ([]column, error)
	// insert writes rows as said by the clause conflict; add writes rows that are not there.
	insert(ctx context.Context, tx *Tx, table string, columns []string, conflict string, rows [][]any) error
	add(ctx context.Context, tx *Tx, table string, columns []string, rows [][]any) error
	deletePlaces(ctx context.Context, tx *Tx, table string, places []place) error
	empty(ctx context.Context, tx *Tx, table string) error
	bytewise(column string) string // how text is ordered by its bytes
	tidy(db *sqlx.DB) error
	isFault(err error) bool // it comes from the database and is not about the rows that were to be written
	isDamage(err error) bool
	closing(err error) error // what matters of an error of closing a pool
}

// column is one of a table's columns. Kind is text, integer, boolean, real or bytes; Key is its place in the primary key, from 1, or 0.
type column struct {
	Name string
	Kind string
	Key  int
}

// kinds maps the types that migrations may use to what a column holds.
var kinds = map[string]string{
	"text": "text", "integer": "integer", "bigint": "integer", "boolean": "boolean",
	"real": "real", "double precision": "real", "blob": "bytes", "bytea": "bytes",
}

func readColumns(ctx context.Context, tx *Tx, question, table string) ([]column, error) {
	var columns []column
	if err := tx.Select(ctx, &columns, question, table); err != nil {
		return nil, err
	}
	for i, c := range columns {
		kind, ok := kinds[strings.ToLower(c.Kind)]
		if !ok {
			return nil, fmt.Errorf("column %s has type %q, want text, bigint, integer, boolean, double precision, blob or bytea", c.Name, c.Kind)
		}
		columns[i].Kind = kind
	}
	return columns, nil
}

// SQLite.

type sqliteDialect struct{}

func (sqliteDialect) name() string                  { return "sqlite" }
func (sqliteDialect) reading() *sql.TxOptions       { return nil } // a deferred transaction keeps what it saw first
func (sqliteDialect) bytewise(column string) string { return column }
func (sqliteDialect) closing(err error) error       { return err }

func (sqliteDialect) migrator(db *sql.DB, migrations fs.FS) (*goose.Provider, error) {
	return goose.NewProvider(goose.DialectSQLite3, db, migrations, goose.WithDisableGlobalRegistry(true), goose.WithLogger(goose.NopLogger()))
}

func (sqliteDialect) columnsOf(ctx context.Context, tx *Tx, table string) ([]column, error) {
	return readColumns(ctx, tx, `select name, type as kind, pk as key from pragma_table_info(?) order by cid`, table)
}

// rowsAtOnce is how many rows one statement writes: more of them gain nothing.
const rowsAtOnce = 16

// insert writes some rows by one statement, which is prepared once, as long as there are so many, and then row by row.
func (sqliteDialect) insert(ctx context.Context, tx *Tx, table string, columns []string, conflict string, rows [][]any) error {
	row := `(?` + strings.Repeat(", ?", len(columns)-1) + `)`
	head := `insert into ` + table + ` (` + strings.Join(columns, ", ") + `) values ` + row
	some := head + strings.Repeat(", "+row, rowsAtOnce-1) + conflict
	args := make([]any, 0, rowsAtOnce*len(columns))
	for ; len(rows) >= rowsAtOnce; rows = rows[rowsAtOnce:] {
		args = args[:0]
		for _, row := range rows[:rowsAtOnce] {
			args = append(args, row...)
		}
		if _, err := tx.Exec(ctx, some, args...); err != nil {
			return err
		}
	}
	for _, row := range rows {
		if _, err := tx.Exec(ctx, head+conflict, row...); err != nil {
			return err
		}
	}
	return nil
}

func (d sqliteDialect) add(ctx context.Context, tx *Tx, table string, columns []string, rows [][]any) error {
	return d.insert(ctx, tx, table, columns, "", rows)
}

func (sqliteDialect) deletePlaces(ctx context.Context, tx *Tx, table string, places []place) error {
	for _, p := range places {
		if _, err := tx.Exec(ctx, `delete from `+table+` where company = ? and job = ?`, p.company, p.job); err != nil {
			return err
		}
	}
	return nil
}

func (sqliteDialect) empty(ctx context.Context, tx *Tx, table string) error {
	_, err := tx.Exec(ctx, `delete from `+table)
	return err
}

// tidy empties the write-ahead log into the file, as far as readers let it.
func (sqliteDialect) tidy(db *sqlx.DB) error {
	_, err := db.Exec(`pragma wal_checkpoint(truncate)`)
	return err
}

// Primary result codes of SQLite.
const (
	sqliteCorrupt    = 11
	sqliteTooBig     = 18
	sqliteConstraint = 19
	sqliteMismatch   = 20
	sqliteNotADB     = 26
)

func (sqliteDialect) isFault(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() & 0xff {
	case sqliteTooBig, sqliteConstraint, sqliteMismatch:
		return false
	}
	return true
}

func (sqliteDialect) isDamage(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && (e.Code()&0xff == sqliteCorrupt || e.Code()&0xff == sqliteNotADB)
}

// PostgreSQL.

type postgresDialect struct{}

func (postgresDialect) name() string                  { return "postgres" }
func (postgresDialect) bytewise(column string) string { return column + ` collate "C"` }
func (postgresDialect) tidy(*sqlx.DB) error           { return nil }
func (postgresDialect) isDamage(error) bool           { return false } // its keeper's to find and to mend
func (postgresDialect) closing(error) error           { return nil }   // a connection that is gone already takes nothing of ours with it

func (postgresDialect) reading() *sql.TxOptions {
	return &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true}
}

// migrator lets one of several processes migrate while the others wait, a second between tries, one minute in all.
func (postgresDialect) migrator(db *sql.DB, migrations fs.FS) (*goose.Provider, error) {
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 60))
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectPostgres, db, migrations, goose.WithDisableGlobalRegistry(true),
		goose.WithLogger(goose.NopLogger()), goose.WithSessionLocker(locker))
}

func (postgresDialect) columnsOf(ctx context.Context, tx *Tx, table string) ([]column, error) {
	return readColumns(ctx, tx, `select a.attname as name, format_type(a.atttypid, a.atttypmod) as kind,
		coalesce(array_position(i.indkey::int2[], a.attnum) + 1, 0) as key
		from pg_attribute a left join pg_index i on i.indrelid = a.attrelid and i.indisprimary
		where a.attrelid = ?::regclass and a.attnum > 0 and not a.attisdropped order by a.attnum`, table)
}

// insert sends each column as one array, so that one statement serves any number of rows.
func (d postgresDialect) insert(ctx context.Context, tx *Tx, table string, columns []string, conflict string, rows [][]any) error {
	known, err := tx.store.columnsOf(ctx, tx, table)
	if err != nil {
		return err
	}
	kind := map[string]string{}
	for _, c := range known {
		kind[c.Name] = c.Kind
	}
	arrays, args := make([]string, len(columns)), make([]any, len(columns))
	for i, name := range columns {
		array, ok := postgresArrays[kind[name]]
		if !ok {
			return fmt.Errorf("there is no column %s", name)
		}
		values := make([]sql.NullString, len(rows))
		for j, row := range rows {
			if values[j], err = postgresText(row[i]); err != nil {
				return fmt.Errorf("column %s: %w", name, err)
			}
		}
		arrays[i], args[i] = "?::"+array, pq.Array(values)
	}
	_, err = tx.Exec(ctx, `insert into `+table+` (`+strings.Join(columns, ", ")+`) select * from unnest(`+strings.Join(arrays, ", ")+`)`+conflict, args...)
	return err
}

// copyFrom is from how many rows on a copy is worth its round trips.
const copyFrom = 200

// add copies, which costs the server half of what a statement costs it.
func (d postgresDialect) add(ctx context.Context, tx *Tx, table string, columns []string, rows [][]any) error {
	if len(rows) < copyFrom {
		return d.insert(ctx, tx, table, columns, "", rows)
	}
	stmt, err := tx.tx.PrepareContext(ctx, pq.CopyIn(table, columns...))
	if err != nil {
		return err
	}
	for _, row := range rows {
		if _, err := stmt.ExecContext(ctx, row...); err != nil {
			return errors.Join(err, stmt.Close())
		}
	}
	_, err = stmt.ExecContext(ctx)
	return errors.Join(err, stmt.Close())
}

var postgresArrays = map[string]string{
	"text": "text[]", "integer": "bigint[]", "boolean": "boolean[]", "real": "double precision[]", "bytes": "bytea[]",
}

// postgresText writes a value as an element of an array of any type.
func postgresText(v any) (sql.NullString, error) {
	var s string
	switch v := v.(type) {
	case nil:
		return sql.NullString{}, nil
	case string:
		s = v
	case bool:
		s = strconv.FormatBool(v)
	case int:
		s = strconv.Itoa(v)
	case int64:
		s = strconv.FormatInt(v, 10)
	case uint64:
		s = strconv.FormatUint(v, 10)
	case float64:
		s = strconv.FormatFloat(v, 'g', -1, 64)
	case []byte:
		s = `\x` + hex.EncodeToString(v)
	default:
		return sql.NullString{}, fmt.Errorf("value of type %T", v)
	}
	return sql.NullString{String: s, Valid: true}, nil
}

// lead takes time from the database, whose clock all processes share.
func (postgresDialect) lead(ctx context.Context, tx *Tx, stream, holder string, seize bool) (bool, error) {
	result, err := tx.Exec(ctx, `insert into lease (stream, holder, until) values (?, ?, extract(epoch from clock_timestamp()) + ?::float)
		on conflict (stream) do update set holder = excluded.holder, until = excluded.until
		where lease.holder = excluded.holder or lease.until < extract(epoch from clock_timestamp()) or ?`,
		stream, holder, leaseTerm.Seconds(), seize)
	if err != nil {
		return false, err
	}
	n, err := result.RowsAffected()
	return n == 1, err
}

func (postgresDialect) resign(ctx context.Context, tx *Tx, stream, holder string) error {
	_, err := tx.Exec(ctx, `delete from lease where stream = ? and holder = ?`, stream, holder)
	return err
}

func (postgresDialect) deletePlaces(ctx context.Context, tx *Tx, table string, places []place) error {
	if len(places) == 0 {
		return nil
	}
	companies, jobs := make([]string, len(places)), make([]string, len(places))
	for i, p := range places {
		companies[i], jobs[i] = p.company, p.job
	}
	_, err := tx.Exec(ctx, `delete from `+table+` where (company, job) in (select * from unnest(?::text[], ?::text[]))`,
		pq.Array(companies), pq.Array(jobs))
	return err
}

// empty deletes in parts, because no statement may take longer than the limit for all, and does not truncate, because readers would have
// to wait for the end of the transaction.
func (postgresDialect) empty(ctx context.Context, tx *Tx, table string) error {
	const part = 200_000
	for {
		result, err := tx.Exec(ctx, `delete from `+table+` where ctid = any(array(select ctid from `+table+` limit `+strconv.Itoa(part)+`))`)
		if err != nil {
			return err
		}
		if n, err := result.RowsAffected(); err != nil || n < part {
			return err
		}
	}
}

// isFault: class 22 is about values, class 23 about constraints.
func (postgresDialect) isFault(err error) bool {
	var e *pq.Error
	return errors.As(err, &e) && e.Code.Class() != "22" && e.Code.Class() != "23"
}
