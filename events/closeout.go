package events

// CheckSigned says that a check which roof and assembly demand was made and passed,
// by whoever reports it. Check is the check's id on the job's checklist.
type CheckSigned struct {
	Check  string        `json:"check"`
	Photos []PhotoDigest `json:"photos,omitempty"`
}

func (CheckSigned) fact() {}
