package sky

import (
	"context"
	"encoding/json/v2"
	"fmt"
	"slices"
	"sync"
	"time"

	"bydark/events"
	"bydark/events/journal"
)

// warmJobs is how many jobs' last forecasts are remembered, some 40 KB each.
const warmJobs = 500

// page is what is remembered of one job.
type page struct {
	mu     sync.Mutex // guards what follows
	tail   journal.Tail
	looked time.Time // when the log was last looked at
	Known
}

// Known are the last forecast and the last alerts; the sequence of what there is none of is
// zero.
type Known struct{ Forecast, Alerts Kept }

func (s *Service) page(subject string) *page {
	s.mu.Lock()
	defer s.mu.Unlock()
	p := s.jobs[subject]
	if p == nil {
		for other := range s.jobs {
			if len(s.jobs) < warmJobs {
				break
			}
			delete(s.jobs, other)
		}
		p = new(page)
		s.jobs[subject] = p
	}
	return p
}

// recent is how old what is remembered may be for a list of roofs.
const recent = 10 * time.Second

// look catches up and notes when.
func (p *page) look(ctx context.Context, log *journal.Journal, subject string, now time.Time) error {
	if _, err := p.catchUp(ctx, log, subject, ""); err != nil {
		return err
	}
	p.looked = now
	return nil
}

// catchUp reads what came since, and gives the entry of that id if it is among it.
func (p *page) catchUp(ctx context.Context, log *journal.Journal, subject, id string) (*journal.Entry, error) {
	entries, err := log.Load(ctx, subject, p.tail.Sequence)
	if err != nil {
		return nil, fmt.Errorf("load %s after %d: %w", subject, p.tail.Sequence, err)
	}
	if len(entries) == 0 {
		return nil, nil
	}
	if err := p.add(subject, entries, time.Time{}); err != nil {
		return nil, err
	}
	p.tail = entries[len(entries)-1].Tail()
	if i := slices.IndexFunc(entries, func(e journal.Entry) bool { return e.ID == id }); i >= 0 {
		return &entries[i], nil
	}
	return nil, nil
}

// add takes the last forecast and the last alerts of the entries that were recorded by a
// time, any time when it is zero; the others are not read.
func (s *Known) add(subject string, entries []journal.Entry, by time.Time) error {
	forecast, alerts := false, false
	for _, e := range slices.Backward(entries) {
		if forecast && alerts {
			return nil
		}
		if !by.IsZero() && e.Recorded.After(by) {
			continue
		}
		kept, ok, err := given(e)
		if err != nil {
			return fmt.Errorf("read %s at %d: %w", subject, e.Sequence, err)
		}
		switch {
		case !ok:
		case kept.IsAlerts() && !alerts:
			s.Alerts, alerts = kept, true
		case !kept.IsAlerts() && !forecast:
			s.Forecast, forecast = kept, true
		}
	}
	return nil
}

// take notes a document that was just kept.
func (s *Known) take(k Kept) {
	if k.IsAlerts() {
		s.Alerts = k
	} else {
		s.Forecast = k
	}
}

// given reads an entry's document; false for an event of another sort.
func given(e journal.Entry) (Kept, bool, error) {
	body, err := events.Decode(e.Type, e.Data)
	if err != nil {
		return Kept{}, false, err
	}
	g, ok := body.(events.ForecastGiven)
	if !ok {
		return Kept{}, false, nil
	}
	doc := []byte(g.Document)
	if g.Document.Kind() == '"' {
		var text string
		if err := json.Unmarshal(g.Document, &text); err != nil {
			return Kept{}, false, err
		}
		doc = []byte(text)
	}
	kept, err := read(doc)
	kept.Sequence, kept.Recorded = e.Sequence, e.Recorded
	return kept, err == nil, err
}
