package main

import (
	"bytes"
	"context"
	"embed"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"
	"io"
	"net/http"
	"time"

	"bydark/events"
	"bydark/services/access"

	"github.com/google/uuid"
)

//go:embed demo/*.json
var demoRoofs embed.FS

// scenario plays the demo through the API, as the crew's phones would.
type scenario struct {
	base string
	keys map[events.Role]string
	now  time.Time

	job   string
	clock time.Time
	said  int
	last  uint64 // the last sequence that was answered
}

type fields map[string]any

// call asks the API; an answer of 300 or more is an error.
func (s *scenario) call(ctx context.Context, role events.Role, method, path string, send, into any) error {
	var body io.Reader
	if send != nil {
		data, err := json.Marshal(send, json.Deterministic(true))
		if err != nil {
			return fmt.Errorf("write the body for %s: %w", path, err)
		}
		body = bytes.NewReader(data)
	}
	r, err := http.NewRequestWithContext(ctx, method, s.base+path, body)
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+s.keys[role])
	r.Header.Set("Content-Type", "application/json")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		return fmt.Errorf("read the answer of %s: %w", path, err)
	}
	if answer.StatusCode >= http.StatusMultipleChoices {
		return fmt.Errorf("%s %s: %d %s", method, path, answer.StatusCode, data)
	}
	if into == nil {
		return nil
	}
	return json.Unmarshal(data, into)
}

// open opens a job; from then on reports are about it.
func (s *scenario) open(ctx context.Context, job, name, assembly string, daysAgo int) error {
	roof, err := demoRoofs.ReadFile("demo/" + job + ".json")
	if err != nil {
		return err
	}
	s.job, s.said = job, 0
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		return err
	}
	day := s.now.In(zone).AddDate(0, 0, -daysAgo)
	s.clock = time.Date(day.Year(), day.Month(), day.Day(), 7, 0, 0, 0, zone)
	var opened struct {
		Sequence uint64 `json:"sequence"`
	}
	err = s.call(ctx, access.Manager, http.MethodPost, "/v1/jobs", fields{
		"id": job, "name": name, "site": fields{"lat": 41.2, "lon": -74.6, "zone": "America/New_York"},
		"roof": jsontext.Value(roof), "assembly": assembly, "start": s.clock.Format(time.DateOnly),
	}, &opened)
	s.last = max(s.last, opened.Sequence)
	return err
}

// id is the id of the n-th report of the job, the same in every playing.
func (s *scenario) id(n int) string {
	return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Appendf(nil, "demo/%s/%d", s.job, n)).String()
}

// report makes the next report, some minutes after the one before; never later than
// now.
func (s *scenario) report(kind string, f fields) fields {
	const pace = 4 * time.Minute
	s.clock = s.clock.Add(pace)
	at := s.clock
	if at.After(s.now) {
		at = s.now
	}
	s.said++
	out := fields{"id": s.id(s.said), "type": kind, "at": at.Format(time.RFC3339)}
	for name, value := range f {
		out[name] = value
	}
	return out
}

// send sends reports and wants each taken.
func (s *scenario) send(ctx context.Context, role events.Role, reports ...fields) error {
	const most = 200
	for len(reports) > 0 {
		n := min(most, len(reports))
		var answer struct {
			Results []struct {
				Status   string         `json:"status"`
				Sequence uint64         `json:"sequence"`
				ID       string         `json:"id"`
				Problem  jsontext.Value `json:"problem"`
			} `json:"results"`
		}
		if err := s.call(ctx, role, http.MethodPost, "/v1/jobs/"+s.job+"/reports", fields{"reports": reports[:n]}, &answer); err != nil {
			return err
		}
		for i, r := range answer.Results {
			if r.Status == "refused" {
				return fmt.Errorf("demo report %v of %s was refused: %s", reports[i], s.job, r.Problem)
			}
			s.last = max(s.last, r.Sequence)
		}
		reports = reports[n:]
	}
	return nil
}

// tomorrow is seven in the morning of the next day.
func (s *scenario) tomorrow() {
	s.clock = time.Date(s.clock.Year(), s.clock.Month(), s.clock.Day()+1, 7, 0, 0, 0, s.clock.Location())
}

// standing is where a roof stands.
type standing struct {
	Job           string         `json:"job"`
	Name          string         `json:"name"`
	PercentClosed int            `json:"percent_closed"`
	OpenEdges     int            `json:"open_edges"`
	LedgerLines   int            `json:"ledger_lines"`
	PunchOpen     int            `json:"punch_open"`
	ChecksLeft    int            `json:"checks_left"`
	Tonight       jsontext.Value `json:"tonight"`
}

// stand asks the board and tonight's plans.
func (s *scenario) stand(ctx context.Context) ([]standing, error) {
	var board struct {
		Jobs []jsontext.Value `json:"jobs"`
	}
	if err := s.call(ctx, access.Owner, http.MethodGet, fmt.Sprintf("/v1/jobs?after=%d", s.last), nil, &board); err != nil {
		return nil, err
	}
	var rows []standing
	for _, doc := range board.Jobs {
		var row standing
		if err := json.Unmarshal(doc, &row); err != nil {
			return nil, fmt.Errorf("read the board: %w", err)
		}
		if err := s.call(ctx, access.Owner, http.MethodGet, "/v1/jobs/"+row.Job+"/tonight", nil, &row.Tonight); err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	return rows, nil
}
