// Package punch is the view of a job's loose ends: what is to be closed, where, by
// whom, before which dark.
package punch

import (
	"time"

	"bydark/events"
	"bydark/projections"
	"bydark/services/roofjob"
)

// Row is one item.
type Row struct {
	Item     events.ReportID      `json:"item"`
	Where    events.Place         `json:"where"`
	What     string               `json:"what"`
	Blocks   string               `json:"blocks"`
	State    string               `json:"state"`
	Open     bool                 `json:"open"`
	ByTheLog bool                 `json:"by_the_log"`
	Raised   time.Time            `json:"raised"`
	RaisedBy events.PersonID      `json:"raised_by"`
	Assigned string               `json:"assigned,omitempty"`
	Fixed    time.Time            `json:"fixed,omitzero"`
	FixedBy  events.PersonID      `json:"fixed_by,omitempty"`
	Closed   time.Time            `json:"closed,omitzero"`
	ClosedBy events.PersonID      `json:"closed_by,omitempty"`
	Reason   string               `json:"reason,omitempty"`
	Photos   []events.PhotoDigest `json:"photos,omitempty"`
}

// View is the view.
var View = projections.Documents[*roofjob.State, Row]{Table: "punch", Meaning: 2, Rows: Fold}

// Fold makes the rows of a job, in the order in which they were raised.
func Fold(s *roofjob.State) ([]Row, error) {
	var rows []Row
	for _, i := range s.Items() {
		rows = append(rows, Row{
			Item: i.ID, Where: i.Where, What: i.What, Blocks: i.Blocks, State: i.State, Open: i.IsOpen(), ByTheLog: i.Derived,
			Raised: i.Raised, RaisedBy: i.RaisedBy, Assigned: i.Assigned, Fixed: i.Fixed, FixedBy: i.FixedBy,
			Closed: i.Closed, ClosedBy: i.ClosedBy, Reason: i.Reason, Photos: i.Photos,
		})
	}
	return rows, nil
}
