package facade

import (
	"context"
	"fmt"
	"time"

	"bydark/projections/board"
	"bydark/projections/exposure"
	"bydark/services/access"
	"bydark/services/night"
)

type exposureDoc struct {
	Job    string         `json:"job"`
	Places []exposure.Row `json:"places"`
	// Night is what the coming night brings to each place.
	Night night.Night `json:"night"`
}

// exposure tells how every plane and edge stands, and what the coming night brings to it.
func (s *Server) exposure(ctx context.Context, who access.Person, in *ViewIn) (exposureDoc, error) {
	m, err := s.moment(ctx, in.MomentIn)
	if err != nil {
		return exposureDoc{}, err
	}
	row, places, err := s.standing(ctx, who, *in, m)
	if err != nil {
		return exposureDoc{}, err
	}
	told, now, err := s.told(ctx, who, in.Job, m)
	if err != nil {
		return exposureDoc{}, err
	}
	doc := exposureDoc{Job: in.Job, Places: places}
	doc.Night, err = comingNight(row, places, told, now)
	return doc, err
}

// standing is a job's row of the board and how its places stand, as the tables have them,
// or folded once for a moment past.
func (s *Server) standing(ctx context.Context, who access.Person, in ViewIn, m moment) (row board.Row, places []exposure.Row, err error) {
	in.MomentIn = MomentIn{} // the moment is known and was waited for
	if !m.past() {
		if row, err = s.roof(ctx, who, &in); err != nil {
			return row, nil, err
		}
		places, err = rows(ctx, s, who, in, exposure.View)
		return row, places, err
	}
	state, err := s.state(ctx, who.Company, in.Job, m)
	if err != nil {
		return row, nil, err
	}
	known, err := board.Fold(state)
	if err != nil {
		return row, nil, err
	}
	places, err = exposure.Fold(state)
	return known[0], whole(places), err
}

// comingNight reckons a night from a job's rows.
func comingNight(row board.Row, places []exposure.Row, told night.Told, now time.Time) (night.Night, error) {
	w, err := night.Coming(row.Site, row.Day(), now)
	if err != nil {
		return night.Night{}, err
	}
	stands := make([]night.Stand, len(places))
	for i, p := range places {
		stands[i] = p.Stand
	}
	return night.Reckon(stands, w, told), nil
}

// RoofRow is a row of the board with the roof's coming night; exported since the API's
// description is made of embedded exported types only.
type RoofRow struct {
	board.Row
	Night night.Glance `json:"night"`
}

// ranked lays each roof's own forecast over it and ranks the roofs by their coming nights.
func (s *Server) ranked(ctx context.Context, who access.Person, all []board.Row, m moment) ([]RoofRow, error) {
	now := s.Now()
	if !m.at.IsZero() {
		now = m.at
	}
	moves, err := s.moves(ctx, who, m)
	if err != nil {
		return nil, err
	}
	rows := make([]RoofRow, len(all))
	nights := make([]*night.Glance, len(all))
	for i, row := range all {
		known, err := s.Sky.Recent(ctx, who.Company, row.Job)
		if m.past() {
			known, err = s.Sky.Known(ctx, who.Company, row.Job, m.known)
		}
		if err != nil {
			return nil, err
		}
		w, err := s.almanac.coming(row.Site, row.Day(), now)
		if err != nil {
			return nil, err
		}
		zone, err := s.almanac.zone(row.Site.Zone)
		if err != nil {
			return nil, fmt.Errorf("the zone of roof %s: %w", row.Job, err)
		}
		row.Short = row.ShortNow(moves, now.In(zone))
		told := night.Told{Forecast: known.Forecast.Forecast, Recorded: known.Forecast.Recorded}
		rows[i] = RoofRow{row, night.Reckon(row.Exposed, w, told).Glance()}
		nights[i] = &rows[i].Night
	}
	night.Rank(nights)
	return rows, nil
}
