// Package sky keeps the forecasts of a job's site in the log's sky stream, so that it
// can be told what was known when.
package sky

import (
	"context"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/weather"

	"github.com/google/uuid"
)

// Service keeps forecasts; several goroutines may use it.
type Service struct {
	log *journal.Journal
	now func() time.Time
}

// New keeps forecasts in a log.
func New(log *journal.Journal, now func() time.Time) *Service { return &Service{log, now} }

// Kept is a forecast and where it stands in the log.
type Kept struct {
	weather.Forecast
	Sequence uint64
	Recorded time.Time
}

const mostTries = 20

// Keep reads a forecast and keeps it. What cannot be read is refused by
// weather.Read.
func (s *Service) Keep(ctx context.Context, company events.CompanyID, job events.JobID, by events.PersonID, doc []byte) (Kept, error) {
	forecast, err := weather.Read(doc)
	if err != nil {
		return Kept{}, err
	}
	body := events.ForecastGiven{Document: jsontext.Value(doc)}
	if !body.Document.IsValid() {
		if body.Document, err = json.Marshal(string(doc)); err != nil {
			return Kept{}, fmt.Errorf("write a forecast: %w", err)
		}
	}
	data, err := events.Encode(body)
	if err != nil {
		return Kept{}, err
	}
	subject, err := journal.SkySubject(string(company), string(job))
	if err != nil {
		return Kept{}, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return Kept{}, fmt.Errorf("make an event's id: %w", err)
	}
	now := s.now()
	entry := journal.Entry{
		ID: id.String(), Type: (events.Event{Body: body}).Type(), Source: "bydark/" + string(company), About: string(job),
		Time: now, Recorded: now, By: string(by), Data: data,
	}
	for try := 0; ; try++ {
		tail, err := s.tail(ctx, subject, entry.ID)
		if err != nil {
			return Kept{}, err
		}
		if tail.ours {
			return Kept{forecast, tail.Sequence, tail.Recorded}, nil
		}
		end, err := s.log.Append(ctx, subject, tail.Tail, entry)
		if err == nil {
			return Kept{forecast, end.Sequence, end.Recorded}, nil
		}
		if try == mostTries || !errors.Is(err, journal.ErrConflict) && !errors.Is(err, journal.ErrUnknown) {
			return Kept{}, fmt.Errorf("keep a forecast in %s: %w", subject, err)
		}
	}
}

type tail struct {
	journal.Tail
	ours bool
}

func (s *Service) tail(ctx context.Context, subject, id string) (tail, error) {
	entries, err := s.log.Load(ctx, subject, 0)
	if err != nil {
		return tail{}, fmt.Errorf("load %s: %w", subject, err)
	}
	var t tail
	for _, e := range entries {
		t.Tail = e.Tail()
		if t.ours = e.ID == id; t.ours {
			break
		}
	}
	return t, nil
}

// Latest is the last forecast that was known at a time, now when it is zero; false
// when there is none.
func (s *Service) Latest(ctx context.Context, company events.CompanyID, job events.JobID, known time.Time) (Kept, bool, error) {
	subject, err := journal.SkySubject(string(company), string(job))
	if err != nil {
		return Kept{}, false, err
	}
	entries, err := s.log.Load(ctx, subject, 0)
	if err != nil {
		return Kept{}, false, fmt.Errorf("load %s: %w", subject, err)
	}
	for i := len(entries) - 1; i >= 0; i-- {
		e := entries[i]
		if !known.IsZero() && e.Recorded.After(known) {
			continue
		}
		body, err := events.Decode(e.Type, e.Data)
		if err != nil {
			return Kept{}, false, fmt.Errorf("read %s at %d: %w", subject, e.Sequence, err)
		}
		given, ok := body.(events.ForecastGiven)
		if !ok {
			continue
		}
		doc := []byte(given.Document)
		if given.Document.Kind() == '"' {
			var text string
			if err := json.Unmarshal(given.Document, &text); err != nil {
				return Kept{}, false, fmt.Errorf("read %s at %d: %w", subject, e.Sequence, err)
			}
			doc = []byte(text)
		}
		forecast, err := weather.Read(doc)
		return Kept{forecast, e.Sequence, e.Recorded}, err == nil, err
	}
	return Kept{}, false, nil
}
