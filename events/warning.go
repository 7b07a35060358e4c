package events

import (
	"time"

	"bydark/events/quantity"
)

// Cause is why a warning was told when it was told.
type Cause string

// The causes of a warning.
const (
	// Hours: a set time before leave-by has come.
	Hours Cause = "hours"
	// Forecast: a new forecast changed what the night does.
	Forecast Cause = "forecast"
	// Missed: it is dark, something is open, and nobody has accepted that.
	Missed Cause = "missed"
	// Cover: the last moment to start covering what is open is near, or has passed.
	Cover Cause = "cover"
	// Alarm: the weather service has put out an alert that threatens the roof as it stands.
	Alarm Cause = "alert"
)

// Told is who a warning is for: the role, and who held it when the warning was made.
// Nobody is listed when nobody held the role.
type Told struct {
	Role   Role       `json:"role"`
	People []PersonID `json:"people"`
}

// The events of warnings. The service makes them from the job's own events, the plan
// for the night and the forecast; nobody reports them, and nobody withdraws them: they
// show who was told what and when, right or wrong.

// ExposureWarned says that weather gets in this night unless somebody does something,
// by what was known at that moment. Another one for the same night replaces it. It does
// not say that any water came in.
type ExposureWarned struct {
	// Night is the date on which the night begins, at the site.
	Night string `json:"night"`
	Cause Cause  `json:"cause"`
	Told  []Told `json:"told"`
	// Why is one sentence with the numbers.
	Why     string    `json:"why"`
	LeaveBy time.Time `json:"leave_by"`
	// Open is what is open now, Left what the plan does not close, OpenLitres and
	// LeftLitres what gets in there until the next start, rounded up; what comes in past
	// covers counts with it, but where a missed deadline is told.
	Open        []Place `json:"open"`
	Left        []Place `json:"left"`
	OpenLitres  int64   `json:"open_l"`
	LeftLitres  int64   `json:"left_l"`
	MinutesLeft int     `json:"minutes_left"`
	// Forecast is the forecast's place in the log; zero when rain was assumed.
	Forecast uint64 `json:"forecast,omitempty"`
	// CoverBy is the last moment at which covering everything that is open can begin and be
	// done in time; absent when there is nothing to cover, or in warnings that were made before this was told.
	CoverBy time.Time `json:"cover_by,omitzero"`
	// Alerts are the official alerts that are told with it.
	Alerts []Alert `json:"alerts,omitempty"`
	// Loose are the places at which wind finds something to lift, where that is told.
	Loose []Place `json:"loose,omitempty"`
}

// Alert is an official alert as it was told: what it is of, how severe, and while it holds.
type Alert struct {
	Event    string    `json:"event"`
	Severity string    `json:"severity"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
}

// ExposureCleared takes back what was warned of for a night.
type ExposureCleared struct {
	Night string `json:"night"`
	Told  []Told `json:"told"`
	// Why is one sentence with the numbers.
	Why string `json:"why"`
}

// ShortageWarned says which materials will not suffice for the work that is left, by
// what was estimated, received, used and ordered at that moment. Another one replaces
// it. It does not say that anything was ordered.
type ShortageWarned struct {
	Told  []Told     `json:"told"`
	Why   string     `json:"why"`
	Lines []Shortage `json:"lines"`
}

// Shortage is one material that will not suffice.
type Shortage struct {
	Material MaterialID      `json:"material"`
	ShortBy  quantity.Amount `json:"short_by"`
	OnHand   quantity.Amount `json:"on_hand"`
	OnOrder  quantity.Amount `json:"on_order"`
	LeadDays int             `json:"lead_days"`
}

func (ExposureWarned) fact()  {}
func (ExposureCleared) fact() {}
func (ShortageWarned) fact()  {}

// Warning tells whether a fact is one of the family that the service itself reports on
// a job.
func Warning(b Body) bool {
	switch b.(type) {
	case ExposureWarned, ExposureCleared, ShortageWarned:
		return true
	}
	return false
}
