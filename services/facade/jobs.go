package facade

import (
	"context"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roofjob"
)

type (
	newJob struct {
		ID   string      `json:"id"`
		Name string      `json:"name"`
		Site events.Site `json:"site"`
		// Roof is a roof file; Assembly a shipped assembly's name or a document.
		Roof     jsontext.Value            `json:"roof"`
		Assembly jsontext.Value            `json:"assembly"`
		Start    string                    `json:"start,omitempty"`
		LeadDays map[events.MaterialID]int `json:"lead_days,omitempty"`
		// Colour is the metal's; Prices are those of one pack of a material.
		Colour string                       `json:"colour,omitempty"`
		Prices map[events.MaterialID]string `json:"prices,omitempty"`
	}
	openedJob struct {
		Job      events.JobID `json:"job"`
		Status   string       `json:"status"`
		Sequence uint64       `json:"sequence"`
	}
	boardDoc struct {
		Jobs []RoofRow `json:"jobs"`
	}
)

// errBehind says that a view has not folded what was asked for in time.
var errBehind = errors.New("the views have not come that far")

type openJobIn struct{ Body newJob }

func (s *Server) openJob(ctx context.Context, who access.Person, in *openJobIn) (openedJob, error) {
	n := in.Body
	id, err := events.ParseJobID(n.ID)
	if err != nil {
		return openedJob{}, err
	}
	doc, err := assemblyDocument(n.Assembly)
	if err != nil {
		return openedJob{}, err
	}
	const mostDrawing = 700 << 10
	if len(n.Roof)+len(doc) > mostDrawing {
		return openedJob{}, &events.Refusal{
			Code: "too-large", Where: "/roof", Was: fmt.Sprintf("%d bytes", len(n.Roof)+len(doc)),
			Want: fmt.Sprintf("a roof file and an assembly of %d bytes together at most", mostDrawing),
		}
	}
	out, err := s.Jobs.Open(ctx, who.Company, roofjob.Opening{Job: id, Body: events.JobOpened{
		Name: n.Name, Site: n.Site, Roof: n.Roof, Assembly: doc, Start: n.Start, LeadDays: n.LeadDays, Colour: n.Colour, Prices: n.Prices,
	}}, actor(who))
	if r := events.RefusalIn(err); r != nil && r.Code == "id-reused" {
		r.Code, r.Was, r.Want = "job-exists", string(id), "an id that no job of the company has"
	}
	return openedJob{id, out.Status, out.Sequence}, err
}

// assemblyDocument is the document itself, or that of the shipped assembly it names.
func assemblyDocument(doc jsontext.Value) (jsontext.Value, error) {
	if doc.Kind() != '"' {
		return doc, nil
	}
	var name string
	if err := json.Unmarshal(doc, &name); err != nil {
		return nil, fmt.Errorf("read an assembly's name: %w", err)
	}
	return assembly.Document(name)
}

func actor(p access.Person) roofjob.Actor {
	return roofjob.Actor{Person: p.ID, OthersReports: p.May(access.WithdrawAny)}
}

// ViewIn and MomentIn are exported because the API's description is made of embedded
// exported types only. ViewIn is which job, as it was when: at as it happened, known as it was recorded,
// after waits until the views have folded that sequence.
type ViewIn struct {
	Job string `path:"job"`
	MomentIn
}

type MomentIn struct {
	At    string `query:"at" doc:"as it was then, by when things happened (RFC 3339)"`
	Known string `query:"known" doc:"as it was known then, by when reports were recorded (RFC 3339)"`
	After uint64 `query:"after" doc:"wait until this sequence is folded"`
}

// moment is which state of a job is asked for.
type moment struct{ at, known time.Time }

func (m moment) past() bool { return !m.at.IsZero() || !m.known.IsZero() }

// holds tells whether what happened and was recorded then belongs to the moment.
func (m moment) holds(at, recorded time.Time) bool {
	return (m.at.IsZero() || !at.After(m.at)) && (m.known.IsZero() || !recorded.After(m.known))
}

// longestWait bounds how long ?after= waits for the views.
const longestWait = 10 * time.Second

// moment reads which state is asked for, and waits for it.
func (s *Server) moment(ctx context.Context, in MomentIn) (moment, error) {
	var m moment
	for _, part := range []struct {
		name, text string
		into       *time.Time
	}{{"at", in.At, &m.at}, {"known", in.Known, &m.known}} {
		if part.text == "" {
			continue
		}
		t, err := time.Parse(time.RFC3339Nano, part.text)
		if err != nil {
			return m, &events.Refusal{Code: "unreadable-parameter", Where: "?" + part.name, Was: part.text, Want: "RFC 3339, such as 2026-05-04T15:30:00Z"}
		}
		*part.into = t
	}
	if in.After == 0 {
		return m, nil
	}
	ctx, cancel := context.WithTimeout(ctx, longestWait)
	defer cancel()
	if err := s.Runner.Wait(ctx, in.After); err != nil {
		return m, fmt.Errorf("%w: wait for %d", errBehind, in.After)
	}
	return m, nil
}

// state folds a job from its record, as it was at a moment.
func (s *Server) state(ctx context.Context, company events.CompanyID, job string, m moment) (*roofjob.State, error) {
	state := roofjob.New(company, events.JobID(job))
	err := s.entries(ctx, record.Query{Company: string(company), Job: job, Known: m.known}, func(e journal.Entry) error {
		event, err := roofjob.EventOf(e)
		if err != nil {
			return err
		}
		// What opened the job holds its drawing, whenever somebody got to open it.
		if _, opens := event.Body.(events.JobOpened); !opens && !m.at.IsZero() && event.At.After(m.at) {
			return nil
		}
		return state.Add(event)
	})
	if err != nil {
		return nil, err
	}
	if state.Opened() == nil {
		return nil, noSuchJob(job)
	}
	return state, nil
}

// noSuchJob is what somebody hears of a job that their company does not have, whether
// or not another one has it.
func noSuchJob(job string) error { return fmt.Errorf("job %s: %w", job, access.ErrNotFound) }

// entries reads a job's record page by page.
func (s *Server) entries(ctx context.Context, q record.Query, each func(journal.Entry) error) error {
	const page = 1000
	q.Limit = page
	for {
		var got []journal.Entry
		err := s.Store.Read(ctx, func(tx *projections.Tx) error {
			var err error
			got, err = record.Roof().Entries(ctx, tx, q)
			return err
		})
		if err != nil {
			return err
		}
		for _, e := range got {
			if err := each(e); err != nil {
				return err
			}
		}
		if len(got) < page {
			return nil
		}
		q.After = got[len(got)-1].Sequence
	}
}

// rows are a view's rows of a job: as the table has them, or folded for a moment past.
func rows[R any](ctx context.Context, s *Server, who access.Person, in ViewIn, view projections.Documents[*roofjob.State, R]) ([]R, error) {
	m, err := s.moment(ctx, in.MomentIn)
	if err != nil {
		return nil, err
	}
	if m.past() {
		state, err := s.state(ctx, who.Company, in.Job, m)
		if err != nil {
			return nil, err
		}
		rows, err := view.Rows(state)
		return whole(rows), err
	}
	var got []R
	err = s.Store.Read(ctx, func(tx *projections.Tx) error {
		known, err := board.View.Of(ctx, tx, string(who.Company), in.Job)
		if err != nil {
			return err
		}
		if len(known) == 0 {
			return noSuchJob(in.Job)
		}
		got, err = view.Of(ctx, tx, string(who.Company), in.Job)
		return err
	})
	return whole(got), err
}

// whole makes an empty list of none, which JSON tells apart.
func whole[R any](rows []R) []R {
	if rows == nil {
		return []R{}
	}
	return rows
}

func (s *Server) board(ctx context.Context, who access.Person, in *MomentIn) (boardDoc, error) {
	m, err := s.moment(ctx, *in)
	if err != nil {
		return boardDoc{}, err
	}
	var all []board.Row
	err = s.Store.Read(ctx, func(tx *projections.Tx) error {
		var err error
		all, err = board.View.All(ctx, tx, string(who.Company))
		return err
	})
	if err != nil {
		return boardDoc{}, err
	}
	if !m.past() {
		rows, err := s.ranked(ctx, who, all, m)
		return boardDoc{rows}, err
	}
	past := []board.Row{}
	for _, row := range all {
		state, err := s.state(ctx, who.Company, string(row.Job), m)
		if errors.Is(err, access.ErrNotFound) {
			continue
		}
		if err != nil {
			return boardDoc{}, err
		}
		rows, err := board.Fold(state)
		if err != nil {
			return boardDoc{}, err
		}
		past = append(past, rows...)
	}
	rows, err := s.ranked(ctx, who, past, m)
	return boardDoc{rows}, err
}

// job is one roof of the board; its rank is among itself alone.
func (s *Server) job(ctx context.Context, who access.Person, in *ViewIn) (RoofRow, error) {
	row, err := s.roof(ctx, who, in)
	if err != nil {
		return RoofRow{}, err
	}
	m, err := s.moment(ctx, MomentIn{At: in.At, Known: in.Known})
	if err != nil {
		return RoofRow{}, err
	}
	ranked, err := s.ranked(ctx, who, []board.Row{row}, m)
	if err != nil {
		return RoofRow{}, err
	}
	return ranked[0], nil
}

// roof is one row of the board without its night.
func (s *Server) roof(ctx context.Context, who access.Person, in *ViewIn) (board.Row, error) {
	rows, err := rows(ctx, s, who, *in, board.View)
	if err == nil && len(rows) == 0 {
		err = noSuchJob(in.Job)
	}
	if err != nil {
		return board.Row{}, err
	}
	return rows[0], nil
}
