package projections

import (
	"context"
	"fmt"
	"strings"

	"bydark/events/journal"
)

// Stopped is a job whose views stand still before an event that could not be folded. Its events are still recorded, and each start of a
// runner tries it again.
type Stopped struct {
	Company  string
	Job      string
	Sequence uint64 // of the event
	Type     string
	Reason   string
}

// StoppedJobs are the stopped jobs of a stream, ordered by company and job.
func StoppedJobs(ctx context.Context, tx *Tx, stream journal.Stream) ([]Stopped, error) {
	var all []Stopped
	err := tx.Select(ctx, &all, `select company, job, sequence, type, reason from stopped where stream = ? order by company, job`, string(stream))
	if err != nil {
		return nil, fmt.Errorf("stopped jobs of %s: %w", stream, err)
	}
	return all, nil
}

// stop notes that a job stands still before e.
func stop(ctx context.Context, tx *Tx, stream journal.Stream, e journal.Entry, why error) (Stopped, error) {
	p := placeOf(e)
	s := Stopped{p.company, p.job, e.Sequence, storableText(e.Type), storableText(why.Error())}
	_, err := tx.Exec(ctx, `insert into stopped (stream, company, job, sequence, type, reason) values (?, ?, ?, ?, ?, ?)
		on conflict (stream, company, job) do update set sequence = excluded.sequence, type = excluded.type, reason = excluded.reason`,
		string(stream), s.Company, s.Job, int64(s.Sequence), s.Type, s.Reason)
	if err != nil {
		return s, fmt.Errorf("stop job %s at %d: %w", p, e.Sequence, err)
	}
	return s, nil
}

// release notes that a job goes on, and says how many jobs that were stopped (0 or 1).
func release(ctx context.Context, tx *Tx, stream journal.Stream, p place) (int64, error) {
	result, err := tx.Exec(ctx, `delete from stopped where stream = ? and company = ? and job = ?`, string(stream), p.company, p.job)
	if err != nil {
		return 0, fmt.Errorf("release job %s: %w", p, err)
	}
	return result.RowsAffected()
}

// storableText makes a text that every database takes, of at most 1,000 bytes.
func storableText(s string) string {
	if len(s) > 1000 {
		s = s[:1000]
	}
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}
