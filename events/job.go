package events

import "encoding/json/jsontext"

// Site is where a roof stands.
type Site struct {
	// Lat and Lon are degrees north and east, WGS 84.
	Lat float64 `json:"lat"`
	Lon float64 `json:"lon"`
	// Zone is the IANA name of the site's time zone: America/New_York.
	Zone string `json:"zone"`
}

// JobOpened begins a job, with everything that its views are derived from: a
// manager's report. Roof and Assembly are the documents as they came.
type JobOpened struct {
	Name string `json:"name"`
	Site Site   `json:"site"`
	// Roof is the roof file.
	Roof jsontext.Value `json:"roof"`
	// Assembly is the assembly's document; one that ships with the program is
	// written out, so that a later release changes no roof under way.
	Assembly jsontext.Value `json:"assembly"`
	// Start is the planned first day, YYYY-MM-DD; empty when unknown.
	Start string `json:"start,omitempty"`
	// LeadDays is how many days each material takes to come; absent, the
	// assembly's own.
	LeadDays map[MaterialID]int `json:"lead_days,omitempty"`
	// Colour is the metal's, as it is ordered; offcuts of one colour serve roofs of it.
	Colour string `json:"colour,omitempty"`
	// Prices are what one pack of a material costs, a number such as 38.50 in the
	// company's money; absent where nobody said.
	Prices map[MaterialID]string `json:"prices,omitempty"`
}

// RoofDrawn replaces the roof's drawing from when it happened on. Marks that the new
// drawing lacks keep their reports, and the views name them as strays.
type RoofDrawn struct {
	Roof   jsontext.Value `json:"roof"`
	Reason string         `json:"reason"`
}

// AssemblyChosen replaces how the roof is built from when it happened on.
type AssemblyChosen struct {
	Assembly jsontext.Value `json:"assembly"`
	Reason   string         `json:"reason"`
}

// EstimateIssued makes the takeoff of that moment the first estimate, against which
// the ledger holds what is used. Before any, the first drawing's takeoff is.
type EstimateIssued struct {
	Reason string `json:"reason,omitempty"`
}

// CrewPlanned says how many people are to be on the roof from a day on. It does not
// say that they came: DayStarted does.
type CrewPlanned struct {
	Heads int `json:"heads"`
	// From is the first day, YYYY-MM-DD.
	From string `json:"from"`
	// ShiftMinutes is the length of the planned shift.
	ShiftMinutes int `json:"shift_minutes"`
}

// JobClosed is the claim that nothing is left to do: refused while anything is.
type JobClosed struct {
	Reason string `json:"reason,omitempty"`
}

// JobReopened takes a JobClosed back, because something was left after all.
type JobReopened struct {
	Reason string `json:"reason"`
}

func (JobOpened) fact()      {}
func (RoofDrawn) fact()      {}
func (AssemblyChosen) fact() {}
func (EstimateIssued) fact() {}
func (CrewPlanned) fact()    {}
func (JobClosed) fact()      {}
func (JobReopened) fact()    {}
