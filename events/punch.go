package events

// What an open punch item stops.
const (
	// BlocksNight is to be closed before the roof is left overnight.
	BlocksNight = "night"
	// BlocksCloseout is to be closed before the job is.
	BlocksCloseout = "closeout"
	// BlocksNothing can wait.
	BlocksNothing = "nothing"
)

// PunchRaised writes a loose end down. The item goes by this report's id.
type PunchRaised struct {
	Where  Place         `json:"where"`
	What   string        `json:"what"`
	Blocks string        `json:"blocks"`
	Photos []PhotoDigest `json:"photos,omitempty"`
}

// PunchAssigned says who is to close an item.
type PunchAssigned struct {
	Item ReportID `json:"item"`
	To   string   `json:"to"`
}

// PunchFixed says that the work of an item was done; somebody else verifies it.
type PunchFixed struct {
	Item   ReportID      `json:"item"`
	Photos []PhotoDigest `json:"photos,omitempty"`
}

// PunchVerified says that somebody who did not fix the item looked and agrees.
type PunchVerified struct {
	Item   ReportID      `json:"item"`
	Photos []PhotoDigest `json:"photos,omitempty"`
}

// PunchReopened says that a fixed or verified item is not closed after all.
type PunchReopened struct {
	Item   ReportID `json:"item"`
	Reason string   `json:"reason"`
}

// PunchWaived says that an item will not be done, and why.
type PunchWaived struct {
	Item   ReportID `json:"item"`
	Reason string   `json:"reason"`
}

// PhotoAttached adds a picture to an earlier report, as its evidence.
type PhotoAttached struct {
	To    ReportID    `json:"to"`
	Photo PhotoDigest `json:"photo"`
}

func (PunchRaised) fact()   {}
func (PunchAssigned) fact() {}
func (PunchFixed) fact()    {}
func (PunchVerified) fact() {}
func (PunchReopened) fact() {}
func (PunchWaived) fact()   {}
func (PhotoAttached) fact() {}
