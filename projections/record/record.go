// Package record keeps the events themselves, as they are in the log, in a table: the record that people read, filter and take with
// them, and the history from which the runner folds a job's state again.
package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"bydark/events/journal"
	"bydark/projections"
)

// Record is the view. It is a projections.History.
type Record struct {
	table   string
	subject func(company, job string) (string, error)
}

// Roof keeps the stream of reports, Sky that of forecasts.
func Roof() Record { return Record{"record", journal.RoofSubject} }
func Sky() Record  { return Record{"sky_record", journal.SkySubject} }

// Name is the name of its table.
func (r Record) Name() string { return r.table }

// Version is 1.
func (r Record) Version() int { return 1 }

// Tables is its one table.
func (r Record) Tables() []string { return []string{r.table} }

var columns = []string{
	"company", "job", "sequence", "id", "type", "happened", "happened_said", "recorded", "reporter", "source", "about", "data", "digest", "prev",
}

// Keep writes events. Nothing that they contain can make it fail.
func (r Record) Keep(ctx context.Context, tx *projections.Tx, entries []journal.Entry) error {
	rows := make([][]any, len(entries))
	for i, e := range entries {
		_, ids, _ := strings.Cut(e.Subject, ".")
		company, job, _ := strings.Cut(ids, ".")
		rows[i] = []any{
			company, job, e.Sequence, escape(e.ID), escape(e.Type), comparable(e.Time), e.Time.Format(time.RFC3339Nano),
			comparable(e.Recorded), escape(e.By), escape(e.Source), escape(e.About), data(e), e.Digest.String(), e.Prev.String(),
		}
	}
	// In the order of the key, so that a large batch touches each page of the tables once.
	slices.SortStableFunc(rows, func(a, b []any) int { return strings.Compare(a[1].(string), b[1].(string)) })
	return tx.Insert(ctx, r.table, columns, rows)
}

// data is never nil: a column without a value is something else than no bytes.
func data(e journal.Entry) []byte {
	if e.Data == nil {
		return []byte{}
	}
	return e.Data
}

// Query says which events of a job are wanted. Zero fields want all.
type Query struct {
	Company, Job string
	After, Upto  uint64    // sequences above After, up to Upto
	At           time.Time // happened at or before
	Known        time.Time // recorded at or before
	Limit        int       // at most so many, 1,000 if 0
}

// Entries gives the events that are wanted in the order of the log. When it gives as many as Limit there may be more: ask again with the
// last one's sequence as After.
func (r Record) Entries(ctx context.Context, tx *projections.Tx, q Query) ([]journal.Entry, error) {
	question := `select sequence, id, type, happened_said, recorded, reporter, source, about, data, digest, prev from ` + r.table + `
		where company = ? and job = ? and sequence > ? and sequence <= ? and happened <= ? and recorded <= ?
		order by sequence limit ?`
	if q.Upto == 0 {
		q.Upto = 1<<63 - 1
	}
	if q.Limit == 0 {
		q.Limit = 1000
	}
	var rows []row
	err := tx.Select(ctx, &rows, question, q.Company, q.Job, int64(q.After), int64(q.Upto), upTo(q.At), upTo(q.Known), q.Limit)
	if err != nil {
		return nil, fmt.Errorf("record of job %s.%s after %d: %w", q.Company, q.Job, q.After, err)
	}
	subject, err := r.subject(q.Company, q.Job)
	if err != nil {
		return nil, err
	}
	entries := make([]journal.Entry, len(rows))
	for i, row := range rows {
		if entries[i], err = row.entry(subject); err != nil {
			return nil, fmt.Errorf("record of job %s.%s, event %d: %w", q.Company, q.Job, row.Sequence, err)
		}
	}
	return entries, nil
}

// Holder is the job of a company that holds an id, the first by the log where more do; empty when none does.
func (r Record) Holder(ctx context.Context, tx *projections.Tx, company, id string) (string, error) {
	var job string
	err := tx.One(ctx, &job, `select job from `+r.table+` where company = ? and id = ? order by sequence limit 1`, company, escape(id))
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return job, err
}

// forever is what every time is at or before.
const forever = "9999-12-31T23:59:59.999999999Z"

// comparable writes a time so that texts are ordered as times are. The log takes times of the years 1 to 9999 in their own offsets; what
// lies outside in UTC is moved to the edge.
func comparable(t time.Time) string {
	if t = t.UTC(); t.Year() > 9999 {
		return forever
	}
	return t.Format("2006-01-02T15:04:05.000000000Z")
}

func upTo(t time.Time) string {
	if t.IsZero() {
		return forever
	}
	return comparable(t)
}

// Past gives the next page of a job's events, for the runner.
func (r Record) Past(ctx context.Context, tx *projections.Tx, company, job string, after, upto uint64) ([]journal.Entry, error) {
	return r.Entries(ctx, tx, Query{Company: company, Job: job, After: after, Upto: upto, Limit: 5000})
}
