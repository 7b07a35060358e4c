package roofjob

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bydark/events"
	"bydark/events/journal"

	"github.com/google/uuid"
)

// errNothing says that there is nothing to append.
var errNothing = errors.New("nothing to say")

// Warn appends what the service itself has to say of a job: what say makes of the
// job's state, nothing when that is nil. say may be asked several times, each time with
// all that the log holds, so that two processes that warn of one thing say it once; it
// must not keep the state. at is when it is said.
func (s *Service) Warn(ctx context.Context, company events.CompanyID, job events.JobID, at time.Time, say func(*State) (events.Body, error)) (Outcome, bool, error) {
	made, err := uuid.NewV7()
	if err != nil {
		return Outcome{}, false, fmt.Errorf("make an event's id: %w", err)
	}
	id := events.ReportID(made.String())
	// What another process took since is to be known before it is said that there is
	// nothing to say.
	if err := s.refresh(ctx, company, job); err != nil {
		return Outcome{}, false, err
	}
	got, err := s.work(ctx, company, job, events.Event{ID: id, At: at.UTC()}, func(state *State) (events.Event, error) {
		if state.Opened() == nil {
			return events.Event{}, errNothing
		}
		body, err := say(state)
		if err != nil {
			return events.Event{}, err
		}
		if body == nil {
			return events.Event{}, errNothing
		}
		if !events.Warning(body) {
			panic(fmt.Sprintf("roofjob: %T is no warning", body))
		}
		return events.Event{ID: id, At: at.UTC(), Recorded: s.now(), By: events.Self, Body: body}, nil
	}, digestOf) // it is ours: the id was made here
	if errors.Is(err, errNothing) {
		return Outcome{}, false, nil
	}
	return got, err == nil, err
}

// refresh brings a job's state up to the log's end.
func (s *Service) refresh(ctx context.Context, company events.CompanyID, job events.JobID) error {
	subject, err := journal.RoofSubject(string(company), string(job))
	if err != nil {
		return err
	}
	d := s.desk(subject, company, job)
	d.mu.Lock()
	defer d.mu.Unlock()
	return s.load(ctx, d)
}
