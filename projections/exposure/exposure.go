// Package exposure is the view of what weather can reach: for each plane and edge the
// steps done and missing, what it is now and why, and what would close it.
package exposure

import (
	"fmt"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/roofjob"
)

// Row is one plane or edge.
type Row struct {
	Where  events.Place    `json:"where"`
	Kind   string          `json:"kind"`
	Planes []events.Place  `json:"planes"`
	Extent quantity.Amount `json:"extent"`
	// State is untouched, open, covered, dried-in or weather-tight.
	State string `json:"state"`
	// Open tells that weather gets in if it is left as it is.
	Open     bool `json:"open"`
	Panelled bool `json:"panelled,omitempty"`
	// Opened is how much of a plane's deck was laid bare.
	Opened  *quantity.Amount `json:"opened,omitempty"`
	Covered time.Time        `json:"covered_since,omitzero"`
	Claimed time.Time        `json:"claimed_tight,omitzero"`
	// Contradicted tells that it was claimed weather-tight and is not.
	Contradicted bool   `json:"contradicted,omitempty"`
	Steps        []Step `json:"steps"`
	// Why says why it is what it is; Closes what ends it.
	Why    string `json:"why"`
	Closes string `json:"closes_with,omitempty"`
	// Stand is how it stands to the weather, whatever the weather is.
	Stand night.Stand `json:"stand"`
}

// Step is one step at the place.
type Step struct {
	Step     events.StepID   `json:"step"`
	Does     string          `json:"does"`
	Kind     string          `json:"kind"`
	Done     quantity.Amount `json:"done"`
	Of       quantity.Amount `json:"of"`
	Complete bool            `json:"complete"`
	Last     time.Time       `json:"last,omitzero"`
}

// View is the view.
var View = projections.Documents[*roofjob.State, Row]{Table: "exposure", Meaning: 5, Rows: Fold}

// Fold makes the rows of a job: planes as drawn, then edges.
func Fold(s *roofjob.State) ([]Row, error) {
	var rows []Row
	zone, err := siteZone(s)
	if err != nil {
		return nil, err
	}
	stands := night.Stands(s)
	for i, p := range s.Places() {
		row := Row{
			Where: p.Mark, Kind: p.Kind, Planes: p.Planes, Extent: p.Extent, State: p.State, Open: p.IsOpen(), Panelled: p.Panelled,
			Covered: p.Covered, Claimed: p.Claimed, Contradicted: !p.Claimed.IsZero() && p.State != assembly.WeatherTight,
		}
		if p.Kind == assembly.PlaneKind {
			row.Opened = &p.Opened
		}
		for _, step := range p.Steps {
			row.Steps = append(row.Steps, Step{step.ID, step.Does, step.Kind, step.Done, step.Of, step.Complete(), step.Last})
		}
		row.Why, row.Closes = why(p, zone)
		row.Stand = stands[i]
		rows = append(rows, row)
	}
	return rows, nil
}

// siteZone is the zone of the site's clocks.
func siteZone(s *roofjob.State) (*time.Location, error) {
	opened := s.Opened()
	if opened == nil {
		return time.UTC, nil
	}
	zone, err := time.LoadLocation(opened.Site.Zone)
	if err != nil {
		return nil, fmt.Errorf("zone of the site of job %s: %w", s.Job, err)
	}
	return zone, nil
}

func why(p roofjob.Place, zone *time.Location) (reason, closes string) {
	var missing []string
	for _, s := range p.Missing() {
		missing = append(missing, string(s.ID))
		if closes == "" && s.Becomes != "" {
			closes = string(s.ID)
		}
	}
	lacks := strings.Join(missing, ", ")
	switch p.State {
	case roofjob.Untouched:
		return "Nothing was opened here yet.", ""
	case assembly.WeatherTight:
		return "Every step is done.", ""
	case roofjob.Covered:
		cover := "a cover"
		if p.CoverOf != "" {
			cover = "the cover of " + string(p.CoverOf)
		}
		return fmt.Sprintf("Under %s since %s; missing: %s.", cover, p.Covered.In(zone).Format("2 Jan 15:04 MST"), lacks), closes
	case assembly.DriedIn:
		if p.Panelled {
			return fmt.Sprintf("Panels lie at it and %s of edge is not closed: wind-driven rain gets in under them. Missing: %s.", p.Extent.Shown(), lacks), closes
		}
		return "Rain is kept out for now; missing: " + lacks + ".", closes
	}
	if p.Kind == assembly.PlaneKind {
		return fmt.Sprintf("%s of %s deck lies bare; missing: %s.", p.Bare().Shown(), p.Extent.Shown(), lacks), closes
	}
	return fmt.Sprintf("Bare deck at %s of edge; missing: %s.", p.Extent.Shown(), lacks), closes
}
