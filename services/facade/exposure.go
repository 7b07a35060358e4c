package facade

import (
	"context"
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
		if row, err = s.job(ctx, who, &in); err != nil {
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
