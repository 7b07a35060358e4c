// Package board is the view that a manager of several roofs watches: one row a roof.
package board

import (
	"time"

	"bydark/events"
	"bydark/projections"
	"bydark/projections/ledger"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/roofjob"
)

// Row is one roof.
type Row struct {
	Job   events.JobID `json:"job"`
	Name  string       `json:"name"`
	Site  events.Site  `json:"site"`
	Start string       `json:"start,omitempty"`
	Stage string       `json:"stage"`
	// PercentClosed is the share of the edges' length that is weather-tight.
	PercentClosed int `json:"percent_closed"`
	Edges         int `json:"edges"`
	OpenEdges     int `json:"open_edges"`
	OpenPlanes    int `json:"open_planes"`
	// CoveredPlaces are those that a cover was placed on; edges beside them that lie under
	// it are not counted.
	CoveredPlaces int `json:"covered_places"`
	// OpenPlaces are the marks of what is open.
	OpenPlaces  []events.Place `json:"open_places"`
	PunchOpen   int            `json:"punch_open"`
	PunchNight  int            `json:"punch_before_night"`
	ChecksLeft  int            `json:"checks_left"`
	LedgerLines int            `json:"ledger_lines"`
	// Supply is how the roof stands for material, arrivals from other jobs left out: Short is
	// what it says when the board is read, by the one reckoning that warnings go by too.
	Supply      ledger.Supply `json:"supply"`
	Short       []string      `json:"short_of"`
	Oddities    int           `json:"oddities"`
	DayUnderWay bool          `json:"day_under_way"`
	// DayBegan, ShiftEnd and LeadSet are of the day under way.
	DayBegan     time.Time      `json:"day_began,omitzero"`
	ShiftEnd     time.Time      `json:"shift_end,omitzero"`
	LeadSet      time.Time      `json:"lead_leave_by,omitzero"` // when its lead wants everybody off the roof
	Heads        int            `json:"heads"`
	LeftOpen     []events.Place `json:"left_open,omitempty"`
	LeftAccepted string         `json:"left_open_accepted_by,omitempty"`
	Closed       time.Time      `json:"closed,omitzero"`
	LatestReport time.Time      `json:"latest_report,omitzero"`
	LatestEvent  uint64         `json:"latest_event"`
	// Exposed are the places that water gets into, as they stand to the weather.
	Exposed       []night.Stand `json:"exposed"`
	Assembly      string        `json:"assembly"`
	AssemblyTitle string        `json:"assembly_title"`
}

// View is the view.
var View = projections.Documents[*roofjob.State, Row]{Table: "board", Meaning: 6, Rows: Fold}

// Fold makes the one row of a job; none before it was opened.
func Fold(s *roofjob.State) ([]Row, error) {
	opened := s.Opened()
	if opened == nil {
		return nil, nil
	}
	row := Row{
		Job: s.Job, Name: opened.Name, Site: opened.Site, Start: opened.Start, Stage: s.Stage(), PercentClosed: s.PercentClosed(),
		Oddities: len(s.Oddities()), Closed: s.Closed(), LatestReport: s.Latest(), LatestEvent: s.Last(),
		Assembly: s.Assembly().Name, AssemblyTitle: s.Assembly().Title, Heads: s.PlannedHeads(),
	}
	for _, p := range s.Places() {
		edge := p.Kind != assembly.PlaneKind
		if edge {
			row.Edges++
		}
		switch {
		case p.State == roofjob.Covered && p.CoverOf != "":
			// It lies under a cover that is counted at its plane.
		case p.State == roofjob.Covered:
			row.CoveredPlaces++
		case p.IsOpen() && edge:
			row.OpenEdges++
			row.OpenPlaces = append(row.OpenPlaces, p.Mark)
		case p.IsOpen():
			row.OpenPlanes++
			row.OpenPlaces = append(row.OpenPlaces, p.Mark)
		}
	}
	for _, st := range night.Stands(s) {
		if len(st.Ways) > 0 {
			row.Exposed = append(row.Exposed, st)
		}
	}
	for _, i := range s.Items() {
		if i.IsOpen() {
			row.PunchOpen++
			if i.Blocks == events.BlocksNight {
				row.PunchNight++
			}
		}
	}
	for _, c := range s.Checks() {
		if !c.Done {
			row.ChecksLeft++
		}
	}
	lines, err := ledger.Fold(s)
	if err != nil {
		return nil, err
	}
	row.LedgerLines = len(lines)
	row.Supply = ledger.SupplyOf(lines)
	if day, began := s.Day(); day != nil {
		row.DayUnderWay, row.DayBegan, row.ShiftEnd, row.LeadSet, row.Heads = true, began, day.ShiftEnd, day.LeaveBy, day.Heads
	}
	if left := s.LeftOpen(); left != nil {
		row.LeftOpen, row.LeftAccepted = left.Open, left.AcceptedBy
	}
	return []Row{row}, nil
}

// ShortNow names what is short at a moment, whose location is the site's, arrivals from
// other jobs counted; nothing on a roof that is closed.
func (r Row) ShortNow(moves []ledger.Move, now time.Time) []string {
	if !r.Closed.IsZero() {
		return nil
	}
	var names []string
	for _, w := range r.Supply.With(moves, r.Job).Short(r.Start, now) {
		names = append(names, w.Name)
	}
	return names
}

// Day is what is known of the crew's day on the roof.
func (r Row) Day() night.Day {
	d := night.Day{Planned: r.Heads}
	if r.DayUnderWay {
		d.Today, d.Began = &events.DayStarted{Heads: r.Heads, ShiftEnd: r.ShiftEnd, LeaveBy: r.LeadSet}, r.DayBegan
	}
	return d
}
