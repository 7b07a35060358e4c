// Package checklist is the view of every check that roof and assembly demand: done by
// whom, with which evidence.
package checklist

import (
	"time"

	"bydark/events"
	"bydark/projections"
	"bydark/services/roofjob"
)

// Row is one check.
type Row struct {
	Check   string        `json:"check"`
	Where   events.Place  `json:"where"`
	Step    events.StepID `json:"step,omitempty"`
	What    string        `json:"what"`
	Measure string        `json:"measure,omitempty"`
	Photo   bool          `json:"photo"`
	Source  string        `json:"source"`
	// Verdict says what the last measure of its sort came to.
	Verdict  string               `json:"verdict,omitempty"`
	Done     bool                 `json:"done"`
	At       time.Time            `json:"at,omitzero"`
	By       events.PersonID      `json:"by,omitempty"`
	Evidence events.ReportID      `json:"evidence,omitempty"`
	Photos   []events.PhotoDigest `json:"photos,omitempty"`
}

// View is the view.
var View = projections.Documents[*roofjob.State, Row]{Table: "checklist", Meaning: 3, Rows: Fold}

// Fold makes the rows of a job, in the order of its places and their steps.
func Fold(s *roofjob.State) ([]Row, error) {
	var rows []Row
	for _, c := range s.Checks() {
		rows = append(rows, Row{
			Check: c.ID, Where: c.Where, Step: c.Step, What: c.What, Measure: c.Of, Photo: c.Photo, Source: c.Source, Verdict: c.Verdict,
			Done: c.Done, At: c.At, By: c.By, Evidence: c.Evidence, Photos: c.Photos,
		})
	}
	return rows, nil
}
