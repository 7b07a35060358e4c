package events

// ReportWithdrawn takes an earlier report of the job back: its effect leaves every
// view but the record. A withdrawal can itself be withdrawn.
type ReportWithdrawn struct {
	Report ReportID `json:"report"`
	Reason string   `json:"reason"`
}

func (ReportWithdrawn) fact() {}
