package facade

import (
	"context"
	"fmt"
	"io"
	"net/http"

	"bydark/projections"
	"bydark/projections/checklist"
	"bydark/projections/ledger"
	"bydark/projections/punch"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/roofjob"
	"bydark/services/takeoff"
)

type (
	punchDoc struct {
		Job   string      `json:"job"`
		Items []punch.Row `json:"items"`
	}
	checklistDoc struct {
		Job    string          `json:"job"`
		Left   int             `json:"left"`
		Checks []checklist.Row `json:"checks"`
		// Stops lists what still stops closeout, in words; Material what the ledger says that
		// whoever closes the job should know. It stops nothing.
		Stops    []string `json:"stops_closeout"`
		Material []string `json:"material_left"`
	}
	recordDoc struct {
		Job    string        `json:"job"`
		Events []record.Line `json:"events"`
		// Next is the cursor of the next page; zero when there is none.
		Next uint64 `json:"next"`
	}
)

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
	lines, err := s.lines(ctx, who, in)
	if err != nil {
		return checklistDoc{}, err
	}
	doc := checklistDoc{Job: in.Job, Checks: whole(checks), Stops: whole(state.MissingCloseout()), Material: whole(ledger.Left(lines, len(state.Oddities())))}
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
	roofs, err := s.roofs(ctx, who)
	if err != nil {
		return doc, err
	}
	tell := teller(state, s.called(who.Company), roofs)
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
			doc.Events = append(doc.Events, tell.Line(event, e.Digest.String()))
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
