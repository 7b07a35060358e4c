package roofjob

import (
	"context"
	"sync"
	"time"

	"bydark/events"

	"github.com/google/uuid"
)

// Holder finds the job of a company whose log holds a report's id, empty when none is
// known to. It may lag behind the log by less than a minute, and by more while the
// database is away: taking reports does not wait for it.
type Holder func(ctx context.Context, company events.CompanyID, id events.ReportID) events.JobID

// fresh is how young an id, by the time that it carries, must be not to be looked for in
// the record: nobody has used it for longer than this process remembers.
const fresh = time.Minute

// ids knows in which job an id was used, so that one phone's mistake does not put the
// same report on two roofs. What this process took in the last minutes it remembers by
// itself, because the views may not show it yet.
type ids struct {
	holder Holder

	mu       sync.Mutex // guards what follows
	now, old map[holding]events.JobID
	turned   time.Time
}

type holding struct {
	company events.CompanyID
	id      events.ReportID
}

func newIDs(holder Holder) *ids {
	return &ids{holder: holder, now: map[holding]events.JobID{}, old: map[holding]events.JobID{}}
}

// elsewhere is another job than this one that holds the id, empty when none does; then
// the id is this job's from here on.
func (i *ids) elsewhere(ctx context.Context, company events.CompanyID, job events.JobID, id events.ReportID, now time.Time) events.JobID {
	if other := i.remember(holding{company, id}, job, now); other != job {
		return other
	}
	if age := now.Sub(madeAt(id)); age >= 0 && age < fresh {
		return ""
	}
	if other := i.holder(ctx, company, id); other != job {
		return other
	}
	return ""
}

// remember is the job that an id belongs to, which is the first that asks.
func (i *ids) remember(h holding, job events.JobID, now time.Time) events.JobID {
	i.mu.Lock()
	defer i.mu.Unlock()
	if now.Sub(i.turned) > 2*fresh {
		i.old, i.now, i.turned = i.now, map[holding]events.JobID{}, now
	}
	for _, known := range []map[holding]events.JobID{i.now, i.old} {
		if was, ok := known[h]; ok {
			return was
		}
	}
	i.now[h] = job
	return job
}

// madeAt is the time that an id of version 7 carries (RFC 9562, section 5.7); of any
// other, the beginning of time.
func madeAt(id events.ReportID) time.Time {
	u, err := uuid.Parse(string(id))
	if err != nil || u.Version() != 7 {
		return time.Time{}
	}
	return time.Unix(u.Time().UnixTime())
}
