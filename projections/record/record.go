// Package record keeps the events themselves, as they are in the log, in a table: the record that people read, filter and take with
// them, and the history from which the runner folds a job's state again.
package record

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"bydark/events/journal"
	"bydark/projections"
)

// Record is the view. It is a projections.History.
type Record struct {
	table   string
	ids     string // the table of keys of ids; empty where nothing is looked for by its id
	subject func(company, job string) (string, error)
	atOnce  int // how many sheets are read by one question
}

// Roof keeps the stream of reports, Sky that of forecasts.
func Roof() Record { return Record{"record", "record_ids", journal.RoofSubject, sheetsAtOnce} }
func Sky() Record  { return Record{"sky_record", "", journal.SkySubject, sheetsAtOnce} }

// Name is the name of the table of events.
func (r Record) Name() string { return r.table }

// Version is 2.
func (r Record) Version() int { return 2 }

// Tables are that of the events and that of their ids.
func (r Record) Tables() []string {
	if r.ids == "" {
		return []string{r.table}
	}
	return []string{r.table, r.ids}
}

// job is one job's part of a batch.
type job struct {
	company, name string
	entries       []*journal.Entry
}

// jobsOf divides a batch by jobs, which come in the order of their names, so that a large batch touches each page of the table once.
func jobsOf(entries []journal.Entry) []*job {
	var all []*job
	bySubject := map[string]*job{}
	for i := range entries {
		e := &entries[i]
		j := bySubject[e.Subject]
		if j == nil {
			_, ids, _ := strings.Cut(e.Subject, ".")
			company, name, _ := strings.Cut(ids, ".")
			j = &job{company: company, name: name}
			bySubject[e.Subject] = j
			all = append(all, j)
		}
		j.entries = append(j.entries, e)
	}
	slices.SortFunc(all, func(a, b *job) int {
		return strings.Compare(a.entries[0].Subject, b.entries[0].Subject)
	})
	return all
}

// Keep writes events. Nothing that they contain can make it fail.
func (r Record) Keep(ctx context.Context, tx *projections.Tx, entries []journal.Entry) error {
	var sheets [][]any
	var keys []key
	var scratch []byte
	for _, j := range jobsOf(entries) {
		for rest := j.entries; len(rest) > 0; {
			sheet, used, n := sheetOf(rest, scratch)
			sheets = append(sheets, []any{j.company, j.name, int64(rest[0].Sequence), sheet})
			scratch, rest = used, rest[n:]
		}
		for _, e := range j.entries {
			keys = append(keys, key{keyOf(j.company, e.ID), int64(e.Sequence), j.name})
		}
	}
	if err := tx.Insert(ctx, r.table, []string{"company", "job", "first", "events"}, sheets); err != nil || r.ids == "" {
		return err
	}
	return r.keepKeys(ctx, tx, keys)
}

// Query says which events of a job are wanted. Zero fields want all.
type Query struct {
	Company, Job string
	After, Upto  uint64    // sequences above After, up to Upto
	At           time.Time // happened at or before
	Known        time.Time // recorded at or before
	Limit        int       // at most so many, 1,000 if 0
}

func (q Query) wants(e journal.Entry) bool {
	return e.Sequence <= q.Upto && (q.At.IsZero() || !e.Time.After(q.At)) && (q.Known.IsZero() || !e.Recorded.After(q.Known))
}

// sheetsAtOnce is how many sheets are read by one question: few enough for the memory where they are full, and not too few where each holds
// one event.
const sheetsAtOnce = 256

// Entries gives the events that are wanted in the order of the log. When it gives as many as Limit there may be more: ask again with the
// last one's sequence as After.
func (r Record) Entries(ctx context.Context, tx *projections.Tx, q Query) ([]journal.Entry, error) {
	const most = 1<<63 - 2 // as the database counts
	if q.Upto == 0 || q.Upto > most {
		q.Upto = most
	}
	if q.Limit == 0 {
		q.Limit = 1000
	}
	subject, err := r.subject(q.Company, q.Job)
	if err != nil {
		return nil, err
	}
	// The event after q.After, if there is one, is in the last sheet that does not begin behind it.
	question := `select events from ` + r.table + ` where company = ? and job = ? and first <= ?
		and first >= coalesce((select max(first) from ` + r.table + ` where company = ? and job = ? and first <= ?), 0) order by first limit ?`
	var wanted []journal.Entry
	for from := min(q.After, most) + 1; ; {
		var sheets [][]byte
		if err := tx.Select(ctx, &sheets, question, q.Company, q.Job, int64(q.Upto), q.Company, q.Job, int64(from), r.atOnce); err != nil {
			return nil, fmt.Errorf("record of job %s.%s after %d: %w", q.Company, q.Job, q.After, err)
		}
		for _, sheet := range sheets {
			entries, err := entriesOf(sheet, subject)
			if err != nil {
				return nil, fmt.Errorf("record of job %s.%s after %d: %w", q.Company, q.Job, from-1, err)
			}
			for _, e := range entries {
				if e.Sequence < from {
					continue // its sheet began the last question, or this one
				}
				from = e.Sequence + 1
				if q.wants(e) {
					wanted = append(wanted, e)
				}
				if len(wanted) == q.Limit {
					return wanted, nil
				}
			}
		}
		if len(sheets) < r.atOnce {
			return wanted, nil
		}
	}
}

// Past gives the next page of a job's events, for the runner.
func (r Record) Past(ctx context.Context, tx *projections.Tx, company, job string, after, upto uint64) ([]journal.Entry, error) {
	return r.Entries(ctx, tx, Query{Company: company, Job: job, After: after, Upto: upto, Limit: 5000})
}

// Dump writes a line for every event: what is in the sheets, whichever they are in.
func (r Record) Dump(ctx context.Context, tx *projections.Tx, w io.Writer) error {
	var jobs []struct{ Company, Job string }
	if err := tx.Select(ctx, &jobs, `select distinct company, job from `+r.table+` order by company, job`); err != nil {
		return err
	}
	for _, j := range jobs {
		for after := uint64(0); ; {
			page, err := r.Past(ctx, tx, j.Company, j.Job, after, 0)
			if err != nil {
				return err
			}
			for _, e := range page {
				if _, err := fmt.Fprintf(w, "%q\t%q\t%d\t%q\t%q\t%q\t%q\t%q\t%s\t%s\tx%s\t%s\t%s\n", j.Company, j.Job, e.Sequence, e.ID, e.Type, e.By, e.Source, e.About,
					e.Time.Format(time.RFC3339Nano), e.Recorded.Format(time.RFC3339Nano), hex.EncodeToString(e.Data), e.Digest, e.Prev); err != nil {
					return err
				}
				after = e.Sequence
			}
			if len(page) == 0 {
				break
			}
		}
	}
	return nil
}
