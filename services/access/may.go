package access

import (
	"maps"
	"slices"

	"bydark/events"
)

// The roles. A person has exactly one.
const (
	Hand       events.Role = "hand"
	Lead       events.Role = "lead"
	Manager    events.Role = "manager"
	Purchasing events.Role = "purchasing"
	Inspector  events.Role = "inspector"
	Owner      events.Role = "owner"
)

// Roles lists the roles, from the narrowest to the widest.
func Roles() []events.Role {
	return []events.Role{Hand, Inspector, Purchasing, Lead, Manager, Owner}
}

// Action is something that a role permits or does not, in words.
type Action string

// The actions beside sending a report, which Sending names by the report's type.
const (
	ReadJobs    Action = "read jobs"
	OpenJob     Action = "open job"
	SendReports Action = "send reports"
	// WithdrawAny is to withdraw somebody else's report; one's own goes with
	// Sending("report-withdrawn").
	WithdrawAny Action = "withdraw anybody's report"
	SetForecast Action = "set forecast"
	AddPhoto    Action = "add photo"
	FollowLive  Action = "follow live"
	ReadBurn    Action = "read burn across jobs"
	SeePrices   Action = "see prices"
	SeeSelf     Action = "see oneself"
	SeePeople   Action = "see people"
	// ManagePeople is to add and remove people, to change their roles and to give
	// and revoke their tokens.
	ManagePeople Action = "manage people"
	// ManageSubscribers is to say whom outside the company's roofs are told to, and to
	// deal with what could not be delivered.
	ManageSubscribers Action = "manage subscribers"
	// RunService is to see how the service itself does.
	RunService Action = "run the service"
)

// Sending is the action of sending a report of the given type.
func Sending(report string) Action { return Action("send " + report) }

var (
	everybody = Roles()
	office    = []events.Role{Manager, Owner}
	buyers    = []events.Role{Purchasing, Manager, Owner}
	crew      = []events.Role{Hand, Lead, Manager, Owner}
	leads     = []events.Role{Lead, Manager, Owner}
	site      = []events.Role{Lead, Purchasing, Manager, Owner}
	checkers  = []events.Role{Inspector, Manager, Owner}
)

// table is who may do what. What does not stand in it nobody may. A row without an
// action, or a report type without a row, fails the package's test.
var table = map[Action][]events.Role{
	ReadJobs:          everybody,
	OpenJob:           office,
	SendReports:       everybody,
	WithdrawAny:       leads,
	SetForecast:       leads,
	AddPhoto:          everybody,
	FollowLive:        everybody,
	ReadBurn:          site,
	SeePrices:         buyers,
	SeeSelf:           everybody,
	SeePeople:         site,
	ManagePeople:      {Owner},
	RunService:        {Owner},
	ManageSubscribers: office,

	Sending("roof-drawn"):      office,
	Sending("assembly-chosen"): office,
	Sending("estimate-issued"): office,
	Sending("crew-planned"):    office,
	Sending("job-closed"):      office,
	Sending("job-reopened"):    office,

	Sending("measure-taken"):  crew,
	Sending("deck-opened"):    crew,
	Sending("layer-laid"):     crew,
	Sending("panel-cut"):      crew,
	Sending("panel-set"):      crew,
	Sending("trim-installed"): crew,
	Sending("seal-made"):      crew,

	Sending("cover-placed"):          leads,
	Sending("cover-removed"):         leads,
	Sending("weather-tight-reached"): leads,
	Sending("day-started"):           leads,
	Sending("day-ended"):             leads,

	Sending("material-ordered"):  buyers,
	Sending("material-received"): site,
	Sending("material-counted"):  site,
	Sending("material-spoiled"):  site,
	Sending("material-returned"): site,
	Sending("material-moved"):    site,

	Sending("punch-raised"):   {Hand, Lead, Inspector, Manager, Owner},
	Sending("punch-fixed"):    crew,
	Sending("punch-assigned"): leads,
	Sending("punch-reopened"): leads,
	Sending("punch-verified"): checkers,
	Sending("punch-waived"):   office,
	Sending("photo-attached"): everybody,
	Sending("check-signed"):   {Lead, Inspector, Manager, Owner},

	Sending("report-withdrawn"): everybody,
}

// May says whether a role permits an action; no to whatever it does not know.
func May(role events.Role, a Action) bool { return slices.Contains(table[a], role) }

// Actions lists every action that the table knows, sorted.
func Actions() []Action { return slices.Sorted(maps.Keys(table)) }
