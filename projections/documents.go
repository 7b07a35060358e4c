package projections

import (
	"context"
	"encoding/json/v2"
	"fmt"
)

// Documents is a view of one table whose rows are JSON documents: what a fold says of
// a job, in its order. Rows is pure; R must come back the same from its JSON.
type Documents[S, R any] struct {
	// Table is the table and the view's name.
	Table string
	// Meaning counts the meanings that the rows have had.
	Meaning int
	Rows    func(S) ([]R, error)
}

// Name is the table's.
func (d Documents[S, R]) Name() string { return d.Table }

// Version is the meaning's.
func (d Documents[S, R]) Version() int { return d.Meaning }

// Tables is the one table.
func (d Documents[S, R]) Tables() []string { return []string{d.Table} }

// Write makes the rows of the jobs anew.
func (d Documents[S, R]) Write(ctx context.Context, tx *Tx, changes []Change[S]) error {
	var rows [][]any
	for _, c := range changes {
		docs, err := d.Rows(c.State)
		if err != nil {
			return fmt.Errorf("%s of job %s.%s: %w", d.Table, c.Company, c.Job, err)
		}
		for i, doc := range docs {
			text, err := json.Marshal(doc, json.Deterministic(true))
			if err != nil {
				return fmt.Errorf("%s of job %s.%s, row %d: %w", d.Table, c.Company, c.Job, i, err)
			}
			rows = append(rows, []any{c.Company, c.Job, i, string(text)})
		}
	}
	return Replace(ctx, tx, d.Table, changes, []string{"company", "job", "position", "doc"}, rows)
}

// Of reads a job's rows, in order; none for a job that is not there.
func (d Documents[S, R]) Of(ctx context.Context, tx *Tx, company, job string) ([]R, error) {
	var texts []string
	if err := tx.Select(ctx, &texts, `select doc from `+d.Table+` where company = ? and job = ? order by position`, company, job); err != nil {
		return nil, fmt.Errorf("read %s of job %s.%s: %w", d.Table, company, job, err)
	}
	return decoded[R](d.Table, texts)
}

// All reads the rows of every job of a company, by job and in order.
func (d Documents[S, R]) All(ctx context.Context, tx *Tx, company string) ([]R, error) {
	var texts []string
	if err := tx.Select(ctx, &texts, `select doc from `+d.Table+` where company = ? order by job, position`, company); err != nil {
		return nil, fmt.Errorf("read %s of company %s: %w", d.Table, company, err)
	}
	return decoded[R](d.Table, texts)
}

func decoded[R any](table string, texts []string) ([]R, error) {
	rows := make([]R, len(texts))
	for i, text := range texts {
		if err := json.Unmarshal([]byte(text), &rows[i]); err != nil {
			return nil, fmt.Errorf("a row of %s does not read: %w", table, err)
		}
	}
	return rows, nil
}
