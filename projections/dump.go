package projections

import (
	"bufio"
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// Dump writes all tables of the runner as they are at one moment in a form that is the same whenever the rows are, on every database: for
// each table a line with its name and its columns, then a line for each row in the order of the primary key, its values separated by
// tabs: text quoted as in Go, integers in decimal, booleans as true and false, floating point in the shortest form that reads back,
// bytes in hexadecimal after x, and null. How the history keeps its events is its own matter: it writes them itself. The stopped jobs of the stream come last, without the reason, which is in the database's words.
func (r *Runner[S]) Dump(ctx context.Context, w io.Writer) error {
	out := bufio.NewWriter(w)
	err := r.c.Store.readAll(ctx, func(tx *Tx) error {
		for _, table := range r.tables() {
			dump := dumpTable
			if table == r.c.History.Name() {
				dump = r.dumpHistory
			}
			if err := dump(ctx, tx, out, table); err != nil {
				return fmt.Errorf("dump table %s: %w", table, err)
			}
		}
		all, err := StoppedJobs(ctx, tx, r.c.Stream)
		for _, s := range all {
			fmt.Fprintf(out, "stopped\t%q\t%q\t%d\t%q\n", s.Company, s.Job, s.Sequence, s.Type)
		}
		return err
	})
	if err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("dump the views: %w", err)
	}
	return nil
}

func (r *Runner[S]) dumpHistory(ctx context.Context, tx *Tx, out *bufio.Writer, table string) error {
	fmt.Fprintf(out, "table %s\n", table)
	return r.c.History.Dump(ctx, tx, out)
}

func dumpTable(ctx context.Context, tx *Tx, out *bufio.Writer, table string) error {
	columns, err := tx.store.columnsOf(ctx, tx, table)
	if err != nil {
		return err
	}
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.Name
	}
	fmt.Fprintf(out, "table %s\t%s\n", table, strings.Join(names, "\t"))
	rows, err := tx.tx.QueryxContext(ctx, `select `+strings.Join(names, ", ")+` from `+table+` order by `+tx.store.keyOrder(columns))
	if err != nil {
		return err
	}
	defer rows.Close() // its error is that of rows.Err
	for rows.Next() {
		values, err := rows.SliceScan()
		if err != nil {
			return err
		}
		for i, v := range values {
			text, err := canonical(columns[i].Kind, v)
			if err != nil {
				return fmt.Errorf("column %s: %w", columns[i].Name, err)
			}
			if i > 0 {
				text = "\t" + text
			}
			out.WriteString(text) // bufio keeps the error for Flush
		}
		out.WriteByte('\n')
	}
	return rows.Err()
}

// keyOrder orders by the primary key, text by its bytes.
func (s *Store) keyOrder(columns []column) string {
	var key []column
	for _, c := range columns {
		if c.Key > 0 {
			key = append(key, c)
		}
	}
	slices.SortFunc(key, func(a, b column) int { return a.Key - b.Key })
	var order []string
	for _, c := range key {
		if c.Kind == "text" {
			order = append(order, s.dialect.bytewise(c.Name))
		} else {
			order = append(order, c.Name)
		}
	}
	return strings.Join(order, ", ")
}

// canonical writes a value as the drivers hand it out.
func canonical(kind string, v any) (string, error) {
	switch v := v.(type) {
	case nil:
		return "null", nil
	case string:
		if kind == "text" {
			return strconv.Quote(v), nil
		}
	case []byte:
		switch kind {
		case "text":
			return strconv.Quote(string(v)), nil
		case "bytes":
			return "x" + hex.EncodeToString(v), nil
		}
	case int64:
		switch kind {
		case "integer":
			return strconv.FormatInt(v, 10), nil
		case "boolean":
			return strconv.FormatBool(v != 0), nil
		case "real":
			return strconv.FormatFloat(float64(v), 'g', -1, 64), nil
		}
	case bool:
		return strconv.FormatBool(v), nil
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64), nil
	}
	return "", fmt.Errorf("value %v of type %T in a column of %s", v, v, kind)
}
