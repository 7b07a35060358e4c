package events

import "time"

// DayStarted says how many people are on the roof today and until when.
type DayStarted struct {
	Heads    int       `json:"heads"`
	ShiftEnd time.Time `json:"shift_end"`
}

// DayEnded says that the crew leaves, what it leaves open, and who accepts that and
// why. What is open and not named here was left open by nobody's word.
type DayEnded struct {
	LeftOpen   []Place `json:"left_open"`
	AcceptedBy string  `json:"accepted_by,omitempty"`
	Reason     string  `json:"reason,omitempty"`
}

func (DayStarted) fact() {}
func (DayEnded) fact()   {}
