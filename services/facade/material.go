package facade

import (
	"context"
	"fmt"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/ledger"
	"bydark/services/access"
	"bydark/services/cutlist"
)

// MaterialRow is a line of a roof's ledger with its outlook; exported since the API's
// description is made of embedded exported types only.
type MaterialRow struct {
	ledger.Line
	ledger.Outlook
}

type (
	ledgerDoc struct {
		Job           string          `json:"job"`
		Lines         []MaterialRow   `json:"lines"`
		Discrepancies []ledger.Oddity `json:"discrepancies"`
	}
	materialsDoc struct {
		Materials []MaterialRow `json:"materials"`
	}
)

func (s *Server) ledger(ctx context.Context, who access.Person, in *ViewIn) (ledgerDoc, error) {
	lines, err := s.lines(ctx, who, in)
	if err != nil {
		return ledgerDoc{}, err
	}
	odd, err := rows(ctx, s, who, *in, ledger.Oddities)
	if err != nil {
		return ledgerDoc{}, err
	}
	state, err := s.stateOf(ctx, who, *in)
	if err != nil {
		return ledgerDoc{}, err
	}
	plans, err := s.cutPlans(ctx, who, state, lines, in.MomentIn, cutlist.Options{Keep: cutlist.UsualKeep})
	if err != nil {
		return ledgerDoc{}, err
	}
	for _, p := range plans {
		for i := range lines {
			if lines[i].Material == p.Material {
				lines[i].Waste, lines[i].WasteBasis = quantity.OfLength(p.Waste), p.WasteBasis
			}
		}
	}
	m, err := s.moment(ctx, MomentIn{At: in.At, Known: in.Known})
	if err != nil {
		return ledgerDoc{}, err
	}
	opened := state.Opened()
	rows, err := s.looking(lines, opened.Site, opened.Start, m)
	return ledgerDoc{in.Job, rows, odd}, err
}

// looking gives the lines of a roof their outlooks from a moment on.
func (s *Server) looking(lines []ledger.Line, site events.Site, start string, m moment) ([]MaterialRow, error) {
	zone, err := s.almanac.zone(site.Zone)
	if err != nil {
		return nil, fmt.Errorf("the zone of a roof: %w", err)
	}
	rows := make([]MaterialRow, len(lines))
	for i, l := range lines {
		rows[i] = MaterialRow{l, l.Outlook(start, s.nowOf(m).In(zone))}
	}
	return rows, nil
}

// nowOf is the moment itself, or now.
func (s *Server) nowOf(m moment) time.Time {
	if !m.at.IsZero() {
		return m.at
	}
	return s.Now()
}

// lines are a job's ledger with what arrived from other jobs.
func (s *Server) lines(ctx context.Context, who access.Person, in *ViewIn) ([]ledger.Line, error) {
	lines, err := rows(ctx, s, who, *in, ledger.Lines)
	if err != nil {
		return nil, err
	}
	m, err := s.moment(ctx, in.MomentIn)
	if err != nil {
		return nil, err
	}
	return s.withMoves(ctx, who, lines, events.JobID(in.Job), m)
}

// withMoves adds to a job's lines what other jobs sent to it.
func (s *Server) withMoves(ctx context.Context, who access.Person, lines []ledger.Line, job events.JobID, m moment) ([]ledger.Line, error) {
	moves, err := s.moves(ctx, who, m)
	if err != nil {
		return nil, err
	}
	return ledger.With(lines, moves, job)
}

// moves is the material that went from one job of the company to another until a moment.
func (s *Server) moves(ctx context.Context, who access.Person, m moment) ([]ledger.Move, error) {
	var moves []ledger.Move
	err := s.Store.Read(ctx, func(tx *projections.Tx) error {
		all, err := ledger.Moves.All(ctx, tx, string(who.Company))
		for _, move := range all {
			if m.holds(move.At, move.Recorded) {
				moves = append(moves, move)
			}
		}
		return err
	})
	return moves, err
}

func (s *Server) materials(ctx context.Context, who access.Person, _ *struct{}) (materialsDoc, error) {
	doc := materialsDoc{Materials: []MaterialRow{}}
	err := s.Store.Read(ctx, func(tx *projections.Tx) error {
		jobs, err := board.View.All(ctx, tx, string(who.Company))
		if err != nil {
			return err
		}
		moves, err := ledger.Moves.All(ctx, tx, string(who.Company))
		if err != nil {
			return err
		}
		for _, job := range jobs {
			lines, err := ledger.Lines.Of(ctx, tx, string(who.Company), string(job.Job))
			if err != nil {
				return err
			}
			if lines, err = ledger.With(lines, moves, job.Job); err != nil {
				return err
			}
			rows, err := s.looking(lines, job.Site, job.Start, moment{})
			if err != nil {
				return err
			}
			doc.Materials = append(doc.Materials, rows...)
		}
		return nil
	})
	return doc, err
}
