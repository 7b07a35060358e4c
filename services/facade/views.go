package facade

import (
	"context"
	"fmt"
	"io"
	"net/http"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/checklist"
	"bydark/projections/ledger"
	"bydark/projections/punch"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/cutlist"
	"bydark/services/roof"
	"bydark/services/roofjob"
	"bydark/services/takeoff"
)

type (
	ledgerDoc struct {
		Job           string          `json:"job"`
		Lines         []ledger.Line   `json:"lines"`
		Discrepancies []ledger.Oddity `json:"discrepancies"`
	}
	punchDoc struct {
		Job   string      `json:"job"`
		Items []punch.Row `json:"items"`
	}
	checklistDoc struct {
		Job    string          `json:"job"`
		Left   int             `json:"left"`
		Checks []checklist.Row `json:"checks"`
		// Stops lists what still stops closeout, in words.
		Stops []string `json:"stops_closeout"`
	}
	recordDoc struct {
		Job    string        `json:"job"`
		Events []record.Line `json:"events"`
		// Next is the cursor of the next page; zero when there is none.
		Next uint64 `json:"next"`
	}
	materialsDoc struct {
		Materials []ledger.Line `json:"materials"`
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
	return ledgerDoc{in.Job, lines, odd}, nil
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
	if err != nil {
		return nil, err
	}
	return ledger.With(lines, moves, job)
}

func (s *Server) punch(ctx context.Context, who access.Person, in *ViewIn) (punchDoc, error) {
	items, err := rows(ctx, s, who, *in, punch.View)
	return punchDoc{in.Job, items}, err
}

func (s *Server) checklist(ctx context.Context, who access.Person, in *ViewIn) (checklistDoc, error) {
	state, err := s.stateOf(ctx, who, *in)
	if err != nil {
		return checklistDoc{}, err
	}
	checks, err := checklist.View.Rows(state)
	if err != nil {
		return checklistDoc{}, err
	}
	doc := checklistDoc{Job: in.Job, Checks: whole(checks), Stops: whole(state.MissingCloseout())}
	for _, check := range checks {
		if !check.Done {
			doc.Left++
		}
	}
	return doc, nil
}

// stateOf is the job's state at the moment that is asked for.
func (s *Server) stateOf(ctx context.Context, who access.Person, in ViewIn) (*roofjob.State, error) {
	m, err := s.moment(ctx, in.MomentIn)
	if err != nil {
		return nil, err
	}
	return s.state(ctx, who.Company, in.Job, m)
}

type recordIn struct {
	ViewIn
	Cursor uint64 `query:"cursor" doc:"next of the page before"`
}

func (s *Server) record(ctx context.Context, who access.Person, in *recordIn) (recordDoc, error) {
	const page = 1000
	doc := recordDoc{Job: in.Job, Events: []record.Line{}}
	m, err := s.moment(ctx, in.MomentIn)
	if err != nil {
		return doc, err
	}
	state, err := s.state(ctx, who.Company, in.Job, m)
	if err != nil {
		return doc, err
	}
	err = s.Store.Read(ctx, func(tx *projections.Tx) error {
		entries, err := record.Roof().Entries(ctx, tx, record.Query{
			Company: string(who.Company), Job: in.Job, At: m.at, Known: m.known, After: in.Cursor, Limit: page,
		})
		if err != nil {
			return err
		}
		for _, e := range entries {
			event, err := roofjob.EventOf(e)
			if err != nil {
				return fmt.Errorf("event %d of the record: %w", e.Sequence, err)
			}
			doc.Events = append(doc.Events, record.Words(event, e.Digest.String(), state.Withdrawn(event.ID)))
		}
		if len(entries) == page {
			doc.Next = entries[page-1].Sequence
		}
		return nil
	})
	return doc, err
}

func (s *Server) takeoff(ctx context.Context, who access.Person, in *ViewIn) (takeoff.Document, error) {
	state, err := s.stateOf(ctx, who, *in)
	if err != nil {
		return takeoff.Document{}, err
	}
	return state.Estimate().Followed(state.First(), state.Measured()), nil
}

func (s *Server) roofMap(w http.ResponseWriter, r *http.Request, who access.Person) error {
	state, err := s.state(r.Context(), who.Company, r.PathValue("job"), moment{})
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	_, err = io.WriteString(w, mapOf(state, ""))
	return err
}

// mapOf draws a job's roof with what is known of every place.
func mapOf(state *roofjob.State, link string) string {
	m := roof.MapState{Edges: map[roof.EdgeMark]roof.Note{}, Planes: map[roof.PlaneMark]roof.Note{}, Link: link}
	for _, p := range state.Places() {
		shown := p.State
		if p.IsOpen() {
			shown = assembly.Open
		}
		m.Edges[roof.EdgeMark(p.Mark)] = roof.Note{State: roof.State(shown)}
		m.Planes[roof.PlaneMark(p.Mark)] = roof.Note{State: roof.State(shown)}
	}
	return roof.Map(state.Roof(), m)
}

func (s *Server) materials(ctx context.Context, who access.Person, _ *struct{}) (materialsDoc, error) {
	doc := materialsDoc{Materials: []ledger.Line{}}
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
			doc.Materials = append(doc.Materials, lines...)
		}
		return nil
	})
	return doc, err
}
