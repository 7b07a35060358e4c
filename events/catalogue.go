package events

import (
	"fmt"
	"reflect"
	"slices"
)

// row is one kind of event. Names are written by hand and never changed: the log
// holds them for ever, whatever the Go type is called. A changed meaning gets a new
// version and an upcaster (upcast.go); a renamed Go type changes nothing here.
type row struct {
	// report is the name in a report, family the family of the wire name, event the
	// event's name in it.
	report, family, event string
	version               int
	name                  string // the wire name of the three
	// zero makes an empty body to decode into, a pointer.
	zero func() any
	body reflect.Type
	// internal events are made by the service itself and refused as reports.
	internal bool
}

func (r row) wire() string { return r.name }

func one[T Body](report, family, event string, version int) row {
	return row{
		report: report, family: family, event: event, version: version, name: fmt.Sprintf("bydark.%s.%s.v%d", family, event, version),
		zero: func() any { return new(T) }, body: reflect.TypeFor[T](),
	}
}

func byService(r row) row { r.internal = true; return r }

var catalogue = []row{
	byService(one[JobOpened]("job-opened", "job", "opened", 1)),
	one[RoofDrawn]("roof-drawn", "job", "roof-drawn", 1),
	one[AssemblyChosen]("assembly-chosen", "job", "assembly-chosen", 1),
	one[EstimateIssued]("estimate-issued", "job", "estimate-issued", 1),
	one[CrewPlanned]("crew-planned", "job", "crew-planned", 1),
	one[JobClosed]("job-closed", "job", "closed", 1),
	one[JobReopened]("job-reopened", "job", "reopened", 1),
	one[MeasureTaken]("measure-taken", "measure", "measure-taken", 1),
	one[MaterialOrdered]("material-ordered", "material", "ordered", 1),
	one[MaterialReceived]("material-received", "material", "received", 1),
	one[MaterialMoved]("material-moved", "material", "moved", 1),
	one[MaterialCounted]("material-counted", "material", "counted", 1),
	one[MaterialSpoiled]("material-spoiled", "material", "spoiled", 1),
	one[MaterialReturned]("material-returned", "material", "returned", 1),
	one[DeckOpened]("deck-opened", "work", "deck-opened", 1),
	one[LayerLaid]("layer-laid", "work", "layer-laid", 1),
	one[PanelCut]("panel-cut", "work", "panel-cut", 1),
	one[PanelSet]("panel-set", "work", "panel-set", 1),
	one[TrimInstalled]("trim-installed", "work", "trim-installed", 1),
	one[SealMade]("seal-made", "work", "seal-made", 1),
	one[CoverPlaced]("cover-placed", "work", "cover-placed", 1),
	one[CoverRemoved]("cover-removed", "work", "cover-removed", 1),
	one[WeatherTightReached]("weather-tight-reached", "work", "weather-tight-reached", 1),
	one[DayStarted]("day-started", "day", "day-started", 1),
	one[DayEnded]("day-ended", "day", "day-ended", 1),
	one[PunchRaised]("punch-raised", "punch", "raised", 1),
	one[PunchAssigned]("punch-assigned", "punch", "assigned", 1),
	one[PunchFixed]("punch-fixed", "punch", "fixed", 1),
	one[PunchVerified]("punch-verified", "punch", "verified", 1),
	one[PunchReopened]("punch-reopened", "punch", "reopened", 1),
	one[PunchWaived]("punch-waived", "punch", "waived", 1),
	one[PhotoAttached]("photo-attached", "punch", "photo-attached", 1),
	one[CheckSigned]("check-signed", "closeout", "check-signed", 1),
	byService(one[ForecastGiven]("forecast-given", "sky", "forecast-given", 1)),
	byService(one[ExposureWarned]("exposure-warned", "warning", "exposure-warned", 1)),
	byService(one[ExposureCleared]("exposure-cleared", "warning", "exposure-cleared", 1)),
	byService(one[ShortageWarned]("shortage-warned", "warning", "shortage-warned", 1)),
	one[ReportWithdrawn]("report-withdrawn", "correction", "report-withdrawn", 1),
	byService(one[CompanyOpened]("company-opened", "door", "company-opened", 1)),
	byService(one[PersonAdded]("person-added", "door", "person-added", 1)),
	byService(one[RoleChanged]("role-changed", "door", "role-changed", 1)),
	byService(one[PersonRemoved]("person-removed", "door", "person-removed", 1)),
	byService(one[TokenIssued]("token-issued", "door", "token-issued", 1)),
	byService(one[TokenRevoked]("token-revoked", "door", "token-revoked", 1)),
	byService(one[SignedIn]("signed-in", "door", "signed-in", 1)),
	byService(one[SignedOut]("signed-out", "door", "signed-out", 1)),
	byService(one[SubscriberAdded]("subscriber-added", "door", "subscriber-added", 1)),
	byService(one[SecretRenewed]("secret-renewed", "door", "secret-renewed", 1)),
	byService(one[SubscriberStopped]("subscriber-stopped", "door", "subscriber-stopped", 1)),
	byService(one[SubscriberResumed]("subscriber-resumed", "door", "subscriber-resumed", 1)),
	byService(one[SubscriberRemoved]("subscriber-removed", "door", "subscriber-removed", 1)),
}

// Reports lists the names that a report's type may have, sorted.
func Reports() []string {
	var names []string
	for _, r := range catalogue {
		if !r.internal {
			names = append(names, r.report)
		}
	}
	slices.Sort(names)
	return names
}

// Families lists the families of what is told of a job, sorted.
func Families() []string {
	var names []string
	for _, r := range catalogue {
		if r.family != "door" && r.family != "sky" && !slices.Contains(names, r.family) {
			names = append(names, r.family)
		}
	}
	slices.Sort(names)
	return names
}

// ToldOfJobs lists the names of the events that are told of a job, sorted: the reports, and
// what the service itself says.
func ToldOfJobs() []string {
	var names []string
	for _, r := range catalogue {
		if r.family != "door" && r.family != "sky" {
			names = append(names, r.report)
		}
	}
	slices.Sort(names)
	return names
}

// Family is the event's family: work.
func (e Event) Family() string { return rowOf(e.Body).family }

// Zero is an empty body of a report's type, for whoever describes the types to
// others; false for a name that no report has.
func Zero(report string) (Body, bool) {
	r, ok := rowOfReport(report)
	if !ok {
		return nil, false
	}
	return reflect.Zero(r.body).Interface().(Body), true
}

// byName and byBody find rows of the catalogue by their wire names and by their types: they are looked for with every event.
var (
	byName = indexed(func(r row) string { return r.name })
	byBody = indexed(func(r row) reflect.Type { return r.body })
)

func indexed[K comparable](by func(row) K) map[K]*row {
	rows := make(map[K]*row, len(catalogue))
	for i, r := range catalogue {
		rows[by(r)] = &catalogue[i]
	}
	return rows
}

func rowOf(b Body) *row {
	r, ok := byBody[reflect.TypeOf(b)]
	if !ok {
		panic(fmt.Sprintf("events: %T is not in the catalogue", b))
	}
	return r
}

func rowOfReport(name string) (row, bool) {
	for _, r := range catalogue {
		if r.report == name && !r.internal {
			return r, true
		}
	}
	return row{}, false
}
