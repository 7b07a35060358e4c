package roofjob

import (
	"fmt"

	"bydark/events"
	"bydark/events/journal"
)

// FoldVersion counts the meanings that folding has had.
const FoldVersion = 5

// EventOf reads an entry of the log. Types that this release does not know give
// events.ErrUnknownType.
func EventOf(e journal.Entry) (events.Event, error) {
	body, err := events.Decode(e.Type, e.Data)
	if err != nil {
		return events.Event{}, err
	}
	return events.Event{
		ID: events.ReportID(e.ID), At: e.Time.UTC(), Recorded: e.Recorded.UTC(), By: events.PersonID(e.By), Sequence: e.Sequence, Body: body,
	}, nil
}

// Apply folds an entry of the log into a job's state: the projections' fold.
func Apply(s *State, e journal.Entry) (*State, error) {
	event, err := EventOf(e)
	if err != nil {
		return s, err
	}
	return s, s.Add(event)
}

// Fold makes a job's state of its entries, whatever their order.
func Fold(company events.CompanyID, job events.JobID, entries []journal.Entry) (*State, error) {
	s := New(company, job)
	for _, e := range entries {
		if _, err := Apply(s, e); err != nil {
			return nil, fmt.Errorf("fold %s at %d: %w", job, e.Sequence, err)
		}
	}
	return s, nil
}
