// Package evidence is the view of which report names which picture: who may see a
// picture follows from it.
package evidence

import (
	"context"
	"slices"

	"bydark/events"
	"bydark/projections"
	"bydark/services/roofjob"
)

// View is the view.
type View struct{}

// Name is the view's name.
func (View) Name() string { return "evidence" }

// Version counts the meanings of its rows.
func (View) Version() int { return 1 }

// Tables are the tables it writes.
func (View) Tables() []string { return []string{"photo"} }

// Write makes the rows of the jobs anew.
func (View) Write(ctx context.Context, tx *projections.Tx, changes []projections.Change[*roofjob.State]) error {
	var rows [][]any
	for _, c := range changes {
		for _, p := range Fold(c.State) {
			rows = append(rows, []any{c.Company, c.Job, string(p.Report), string(p.Digest)})
		}
	}
	return projections.Replace(ctx, tx, "photo", changes, []string{"company", "job", "report", "digest"}, rows)
}

// Named is a picture that a report names.
type Named struct {
	Report events.ReportID
	Digest events.PhotoDigest
}

// Fold lists the pictures that a job's standing reports name, each once a report.
func Fold(s *roofjob.State) []Named {
	var all []Named
	for _, e := range s.Events() {
		if s.Withdrawn(e.ID) != "" {
			continue
		}
		for _, digest := range photosOf(e.Body) {
			if n := (Named{e.ID, digest}); !slices.Contains(all, n) {
				all = append(all, n)
			}
		}
	}
	return all
}

func photosOf(body events.Body) []events.PhotoDigest {
	switch b := body.(type) {
	case events.PunchRaised:
		return b.Photos
	case events.PunchFixed:
		return b.Photos
	case events.PunchVerified:
		return b.Photos
	case events.CheckSigned:
		return b.Photos
	case events.PhotoAttached:
		return []events.PhotoDigest{b.Photo}
	}
	return nil
}
