package record

import (
	"context"
	"fmt"

	"bydark/events/journal"
	"bydark/projections"
)

// AtOnce reads so many sheets by one question.
func (r Record) AtOnce(n int) Record {
	r.atOnce = n
	return r
}

// Sheets are the sheets of a job.
func (r Record) Sheets(ctx context.Context, tx *projections.Tx, company, job string) (sheets [][]byte, err error) {
	err = tx.Select(ctx, &sheets, `select events from `+r.table+` where company = ? and job = ? order by first`, company, job)
	return sheets, err
}

// Claim says that a job has an event at a sequence with an id of the same key as the given one.
func (r Record) Claim(company, id string, sequence uint64, job string) string {
	return fmt.Sprintf(`insert into %s (key, sequence, job) values (%d, %d, '%s')`, r.ids, keyOf(company, id), sequence, job)
}

// SheetOf and EntriesOf write and read a sheet.
func SheetOf(entries []journal.Entry) ([]byte, int) {
	var all []*journal.Entry
	for i := range entries {
		all = append(all, &entries[i])
	}
	sheet, _, n := sheetOf(all, nil)
	return sheet, n
}

func EntriesOf(sheet []byte) ([]journal.Entry, error) { return entriesOf(sheet, "") }
