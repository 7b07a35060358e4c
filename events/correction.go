package events

// ReportWithdrawn takes an earlier report of the job back: its effect leaves every
// view but the record. A withdrawal can itself be withdrawn.
type ReportWithdrawn struct {
	Report ReportID `json:"report"`
	Reason string   `json:"reason"`
	// Own limits the withdrawal to a report of the same person: set for those who may not
	// withdraw others', because the report may arrive after its withdrawal.
	Own bool `json:"own,omitzero"`
}

func (ReportWithdrawn) fact() {}
