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
const warmJobs = 2000

// page is what is remembered of one job.
type page struct {
	mu     sync.Mutex // guards what follows
	tail   journal.Tail
	looked bool   // at the log, at least once
	upTo   uint64 // where the stream ended when Recent looked last
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

// recent is how old what is known of other processes' documents may be for a list of roofs.
const recent = 5 * time.Second

// ends is what is known of the end of the stream: one question to the log, now and then, tells for all roofs that nothing came.
type ends struct {
	asked time.Time
	last  uint64 // sequence of the stream's last event
	// others is the last sequence up to which another process may have written.
	others uint64
}

// foreign is the sequence up to which the pages must have looked.
func (s *Service) foreign(ctx context.Context) (uint64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.now()
	if age := now.Sub(s.ends.asked); !s.ends.asked.IsZero() && age >= 0 && age < recent {
		return s.ends.others, nil
	}
	end, err := s.log.End(ctx, journal.Sky)
	if err != nil {
		return 0, fmt.Errorf("end of the forecasts: %w", err)
	}
	s.ends.asked = now
	if end.Sequence != s.ends.last {
		s.ends.last, s.ends.others = end.Sequence, end.Sequence
	}
	return s.ends.others, nil
}

// wrote notes an event of our own, which its page knows already.
func (s *Service) wrote(sequence uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if sequence == s.ends.last+1 {
		s.ends.last = sequence
	}
}

// look catches up.
func (p *page) look(ctx context.Context, log *journal.Journal, subject string) error {
	if _, err := p.catchUp(ctx, log, subject, ""); err != nil {
		return err
	}
	p.looked = true
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
	var came Known
	for _, e := range slices.Backward(entries) {
		if came.Forecast.stands() && came.Alerts.stands() {
			break
		}
		if !by.IsZero() && e.Recorded.After(by) {
			continue
		}
		kept, ok, err := given(e)
		if err != nil {
			return fmt.Errorf("read %s at %d: %w", subject, e.Sequence, err)
		}
		last := came.of(kept)
		if ok && !last.stands() && (last.Sequence == 0 || kept.stands()) {
			*last = kept
		}
	}
	for _, kept := range []Kept{came.Forecast, came.Alerts} {
		if kept.Sequence > 0 {
			s.take(kept)
		}
	}
	return nil
}

// take notes a document that came after those that are known.
func (s *Known) take(k Kept) {
	if last := s.of(k); k.stands() || !last.stands() {
		*last = k
	}
}

// of is where a document of a sort stands.
func (s *Known) of(k Kept) *Kept {
	if k.IsAlerts() {
		return &s.Alerts
	}
	return &s.Forecast
}

// stands tells whether there is a document and it was not over when it came.
func (k Kept) stands() bool { return k.Sequence > 0 && k.Over == "" }

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
	if err != nil {
		return Kept{}, false, err
	}
	kept.Sequence, kept.Recorded, kept.Over = e.Sequence, e.Recorded, kept.over(e.Recorded)
	return kept, true, nil
}
