package events

import "time"

// DayStarted says how many people are on the roof today and until when. Another one while
// the day is under way says anew how it stands; the day still began when it began.
type DayStarted struct {
	Heads    int       `json:"heads"`
	ShiftEnd time.Time `json:"shift_end"`
	// LeaveBy is when the lead wants everybody off the roof. Zero, what was said before in
	// the day stands, and where nothing was, the light and the shift decide. It does not make
	// the day longer than either.
	LeaveBy time.Time `json:"leave_by,omitzero"`
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
