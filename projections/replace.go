package projections

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// rowSum names a row, or its primary key, by what is in it.
type rowSum [16]byte

// written is what Replace has written for a job: for each table the sums of the rows by those of their keys. It goes with the job's
// state and is forgotten with it. A job without it, nil, has no rows in any table, and what is written for it need not be remembered.
type written map[string]map[rowSum]rowSum

// Replace makes the given rows be all rows that a table has for the jobs of changes. Columns must hold company, job and the whole primary
// key, in any order. Only rows that differ from those that were written last are touched, so a view may always give all. Who writes a
// table by Replace must not write it in another way.
//
// A value is a string, bool, integer, float64, []byte or nil. Two rows with one key are an error, as is a row of another job.
func Replace[S any](ctx context.Context, tx *Tx, table string, changes []Change[S], columns []string, rows [][]any) error {
	all, err := tx.store.columnsOf(ctx, tx, table)
	if err != nil {
		return err
	}
	n, err := layoutOf(all, columns)
	if err != nil {
		return fmt.Errorf("table %s: %w", table, err)
	}
	byJob := map[place][][]any{}
	for _, row := range rows {
		p, err := n.placeOf(row)
		if err != nil {
			return fmt.Errorf("table %s: %w", table, err)
		}
		byJob[p] = append(byJob[p], row)
	}
	var anew []place
	var first, changed [][]any
	for _, c := range changes {
		p := place{c.Company, c.Job}
		mine := byJob[p]
		delete(byJob, p)
		if c.written == nil {
			first = append(first, mine...)
			continue
		}
		sums, different, vanished, err := n.compare(c.written[table], mine)
		if err != nil {
			return fmt.Errorf("table %s, job %s: %w", table, p, err)
		}
		if vanished {
			anew, different = append(anew, p), mine
		}
		changed = append(changed, different...)
		c.written[table] = sums
	}
	for p := range byJob {
		return fmt.Errorf("table %s: row of job %s, which has not changed", table, p)
	}
	if err := tx.store.dialect.deletePlaces(ctx, tx, table, anew); err != nil {
		return fmt.Errorf("delete the rows of %d jobs from %s: %w", len(anew), table, err)
	}
	if err := tx.Insert(ctx, table, columns, first); err != nil {
		return err
	}
	return tx.put(ctx, table, columns, n.conflict, changed)
}

// layout is how the rows of a table are given.
type layout struct {
	company, job int
	key          []int
	conflict     string // the clause that turns an insert into an update
}

func layoutOf(all []column, columns []string) (layout, error) {
	n := layout{company: slices.Index(columns, "company"), job: slices.Index(columns, "job")}
	if n.company < 0 || n.job < 0 {
		return n, errors.New("company or job is not among the columns")
	}
	var key, rest []string
	for _, c := range all {
		i := slices.Index(columns, c.Name)
		switch {
		case c.Key > 0 && i < 0:
			return n, fmt.Errorf("column %s of the primary key is not given", c.Name)
		case c.Key > 0:
			n.key, key = append(n.key, i), append(key, c.Name)
		case i >= 0:
			rest = append(rest, c.Name+" = excluded."+c.Name)
		}
	}
	if len(key) == 0 {
		return n, errors.New("it has no primary key")
	}
	n.conflict = " on conflict (" + strings.Join(key, ", ") + ") do nothing"
	if len(rest) > 0 {
		n.conflict = " on conflict (" + strings.Join(key, ", ") + ") do update set " + strings.Join(rest, ", ")
	}
	return n, nil
}

func (n layout) placeOf(row []any) (place, error) {
	company, ok := row[n.company].(string)
	job, ok2 := row[n.job].(string)
	if !ok || !ok2 {
		return place{}, fmt.Errorf("row of company %v, job %v: want texts", row[n.company], row[n.job])
	}
	return place{company, job}, nil
}

// compare gives the sums of rows, those of the rows that differ from what was written, and whether any that was written is not among
// them; nothing known counts as that.
func (n layout) compare(was map[rowSum]rowSum, rows [][]any) (sums map[rowSum]rowSum, different [][]any, vanished bool, err error) {
	sums = make(map[rowSum]rowSum, len(rows))
	kept := 0
	for _, row := range rows {
		key, whole := sumOfValues(row, n.key), sumOfValues(row, nil)
		if _, twice := sums[key]; twice {
			return nil, nil, false, fmt.Errorf("two rows with the same key: %v", row)
		}
		sums[key] = whole
		before, there := was[key]
		if there {
			kept++
		}
		if !there || before != whole {
			different = append(different, row)
		}
	}
	return sums, different, was == nil || kept < len(was), nil
}

// sumOfValues sums the values of a row at the given places, or all. Values of different types differ.
func sumOfValues(row []any, at []int) rowSum {
	b := make([]byte, 0, 256)
	if at == nil {
		for _, v := range row {
			b = appendValue(b, v)
		}
	}
	for _, i := range at {
		b = appendValue(b, row[i])
	}
	sum := sha256.Sum256(b)
	return rowSum(sum[:16])
}

// appendValue writes a value so that no two rows of values are written alike.
func appendValue(b []byte, v any) []byte {
	sized := func(kind byte, n int) []byte { return append(strconv.AppendInt(append(b, kind), int64(n), 10), ':') }
	switch v := v.(type) {
	case nil:
		return append(b, 'n')
	case string:
		return append(sized('s', len(v)), v...)
	case []byte:
		return append(sized('x', len(v)), v...)
	case int:
		return append(strconv.AppendInt(append(b, 'i'), int64(v), 10), ',')
	case int64:
		return append(strconv.AppendInt(append(b, 'l'), v, 10), ',')
	case float64:
		return append(strconv.AppendFloat(append(b, 'f'), v, 'g', -1, 64), ',')
	case bool:
		return append(strconv.AppendBool(append(b, 'b'), v), ',')
	}
	s := fmt.Sprintf("%T %v", v, v)
	return append(sized('v', len(s)), s...)
}
