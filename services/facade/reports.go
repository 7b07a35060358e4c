package facade

import (
	"bytes"
	"context"
	"encoding/json/jsontext"
	"errors"
	"fmt"
	"net/http"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
)

type (
	reportsDoc struct {
		Reports []jsontext.Value `json:"reports"`
	}
	resultsDoc struct {
		Results []result `json:"results"`
	}
	// result answers one report: accepted, repeated or refused.
	result struct {
		ID       string   `json:"id"`
		Status   string   `json:"status"`
		Sequence uint64   `json:"sequence,omitzero"`
		Problem  *problem `json:"problem,omitempty"`
	}
)

type reportsIn struct {
	Job  string `path:"job"`
	Body reportsDoc
}

const (
	mostReport  = 256 << 10
	mostReports = 500
)

func (s *Server) reports(ctx context.Context, who access.Person, in *reportsIn) (resultsDoc, error) {
	if n := len(in.Body.Reports); n == 0 || n > mostReports {
		return resultsDoc{}, &events.Refusal{Code: "how-many-reports", Where: "/reports", Was: fmt.Sprint(n), Want: fmt.Sprintf("1 to %d reports", mostReports)}
	}
	job, err := s.jobOf(ctx, who, in.Job)
	if err != nil {
		return resultsDoc{}, err
	}
	answer := resultsDoc{Results: make([]result, 0, len(in.Body.Reports))}
	for i, raw := range in.Body.Reports {
		r, err := s.report(ctx, who, job, raw)
		if err != nil {
			// No answer is a third outcome: nothing after it is tried, and all is to be
			// sent again.
			return resultsDoc{}, fmt.Errorf("report %d: %w", i, err)
		}
		answer.Results = append(answer.Results, r)
	}
	return answer, nil
}

// plainReports takes reports from a body that can be read; see route.quick.
func (s *Server) plainReports(r *http.Request, who access.Person, body []byte) (any, bool, error) {
	in := reportsIn{Job: r.PathValue("job")}
	if r.URL.RawQuery != "" || readBatch(body, &in.Body) != nil || in.Body.Reports == nil {
		return nil, false, nil
	}
	answer, err := s.reports(r.Context(), who, &in)
	return answer, true, err
}

// jobOf is the job of an id; one that the company does not have is not found.
func (s *Server) jobOf(ctx context.Context, who access.Person, job string) (events.JobID, error) {
	id, err := events.ParseJobID(job)
	if err != nil {
		return "", noSuchJob(job)
	}
	known, err := s.Jobs.Exists(ctx, who.Company, id)
	if err == nil && !known {
		err = noSuchJob(job)
	}
	return id, err
}

// report takes one report and counts it. An error is no refusal: the outcome is open.
func (s *Server) report(ctx context.Context, who access.Person, job events.JobID, raw []byte) (result, error) {
	became, err := s.decided(ctx, who, job, raw)
	s.count.reported(became, err)
	return became, err
}

func (s *Server) decided(ctx context.Context, who access.Person, job events.JobID, raw []byte) (result, error) {
	report, err := s.understand(who, raw)
	if err != nil {
		return s.refusedResult(raw, err)
	}
	out, err := s.Jobs.Take(ctx, who.Company, job, report, actor(who))
	if err != nil {
		return s.refusedResult(raw, err)
	}
	return result{ID: string(report.ID), Status: out.Status, Sequence: out.Sequence}, nil
}

func (s *Server) understand(who access.Person, raw []byte) (events.Report, error) {
	if len(raw) > mostReport {
		return events.Report{}, &events.Refusal{Code: "too-large", Was: fmt.Sprintf("%d bytes", len(raw)), Want: fmt.Sprintf("a report of %d bytes at most", mostReport)}
	}
	if err := checkJSON(raw); err != nil {
		return events.Report{}, err
	}
	report, err := events.ParseReport(raw)
	if err != nil {
		return events.Report{}, err
	}
	name := (events.Event{Body: report.Body}).Report()
	if !who.May(access.Sending(name)) {
		return events.Report{}, &events.Refusal{Code: "forbidden", Where: "/type", Was: name + " by a " + string(who.Role), Want: "a report that your role may send"}
	}
	return report, nil
}

// refusedResult makes a result of a refusal; anything else stays an error.
func (s *Server) refusedResult(raw []byte, err error) (result, error) {
	if r := refusalIn(err); r != nil {
		return result{ID: idIn(raw), Status: "refused", Problem: refused(r)}, nil
	}
	if errors.Is(err, journal.ErrTooLarge) {
		r := &events.Refusal{Code: "too-large", Want: "a report that fits one event"}
		return result{ID: idIn(raw), Status: "refused", Problem: refused(r)}, nil
	}
	return result{}, err
}

// idIn is the id that a refused report came with, where it can be read.
func idIn(raw []byte) string {
	var id string
	d := jsontext.NewDecoder(bytes.NewReader(raw))
	if token, err := d.ReadToken(); err != nil || token.Kind() != '{' {
		return ""
	}
	for d.PeekKind() == '"' {
		name, err := d.ReadToken()
		if err != nil {
			return id
		}
		if name.String() != "id" || d.PeekKind() != '"' {
			if err := d.SkipValue(); err != nil {
				return id
			}
			continue
		}
		value, err := d.ReadToken()
		if err != nil {
			return id
		}
		if text := value.String(); len(text) <= 64 {
			id = text
		}
	}
	return id
}
