package facade

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"bydark/events"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/ledger"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/roofjob"

	"github.com/google/uuid"
)

// Empty lines at the end of a form of lines: at first, and after somebody asked for more.
const (
	fewLines  = 2
	moreLines = 8
	mostLines = 40
)

// filled is a form with its choices, on a page.
type filled struct {
	Form    form
	ID      string
	At      string
	Choices map[string][]choice
	Values  map[string][]string
	// Chosen is what was chosen on the page before, in words; Again leads back there.
	Chosen, Again string
	// Folded links to the form with what is left out of it, by field.
	Folded map[string]string
	// Spare is how many empty lines stand at the end.
	Spare   int
	Problem *problem
	// Blamed says in the form's words what the problem is about.
	Blamed string
	// Heed is what to think of before it is sent.
	Heed []string
}

// Value is a field's value in a line, counted from nought.
func (f filled) Value(name string, line int) string { return said(f.Values[name], line) }

// Rare tells whether some fields are folded.
func (f filled) Rare() bool {
	return slices.ContainsFunc(f.Form.Fields, func(in field) bool { return in.Rare })
}

// Unfolded tells whether a rare field says something.
func (f filled) Unfolded() bool {
	return slices.ContainsFunc(f.Form.Fields, func(in field) bool { return in.Rare && f.Value(in.Name+in.In, 0) != "" })
}

// Number is what people call a line that is counted from nought.
func (filled) Number(line int) int { return line + 1 }

// ask is one field as it is asked for.
type ask struct {
	Field    field
	ID, Name string
	Values   []string
	Choices  []choice
}

// Ask is a field of the form; of a line, counted from nought, or of none, below nought. In a line nothing must
// be filled in: those that stay empty are left out.
func (f filled) Ask(in field, line int) ask {
	name := in.Name + in.In
	a := ask{Field: in, ID: "f-" + name, Name: name, Values: f.Values[name], Choices: f.Choices[name]}
	if line >= 0 {
		a.ID, a.Values, a.Field.Must = fmt.Sprintf("f-%s-%d", name, line), []string{f.Value(name, line)}, false
	}
	return a
}

// Rows numbers the lines of the form from nought.
func (f filled) Rows() []int {
	rows := make([]int, min(mostLines, f.Form.rows(f.Values)+f.Spare))
	for i := range rows {
		rows[i] = i
	}
	return rows
}

// More tells whether lines can be added.
func (f filled) More() bool { return len(f.Rows()) < mostLines }

func (s *Server) formPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	id, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("make a report's id: %w", err)
	}
	values := map[string][]string{}
	for name, v := range r.URL.Query() {
		values[name] = v
	}
	return s.showForm(w, r, who, filled{ID: id.String(), Values: values, Spare: fewLines})
}

func (s *Server) showForm(w http.ResponseWriter, r *http.Request, who access.Person, f filled) error {
	var known bool
	if f.Form, known = formOf(r.PathValue("type")); !known || !who.May(access.Sending(f.Form.Type)) {
		return access.ErrNotFound
	}
	if f.Problem != nil {
		f.Blamed = f.Form.called(f.Problem.Where)
	}
	page, _, err := s.roofSheet(r.Context(), r, who, "report", f.Form.Title)
	if err != nil {
		return err
	}
	state, err := s.state(r.Context(), who.Company, page.Job, moment{})
	if err != nil {
		return err
	}
	page.names = s.called(who.Company)
	offer := offered{form: f.Form.Type, state: state, who: who, names: page.names, all: r.URL.Query().Get("all") != "", where: events.Place(said(f.Values["where"], 0)), values: f.Values}
	if offer.roofs, err = s.roofs(r.Context(), who); err != nil {
		return err
	}
	offer.teller = teller(state, page.names, offer.roofs)
	here := "/jobs/" + url.PathEscape(page.Job) + "/report/" + f.Form.Type
	if first := f.Form.First; first != "" {
		if f.Chosen = offer.chosen(first, said(f.Values[first], 0)); f.Chosen == "" {
			page.Body = offer.chooser(f, here, pageOf(r))
			if f.Problem != nil {
				w.WriteHeader(f.Problem.Status)
			}
			return s.show(w, "choose.html", page)
		}
		f.Again = here
	}
	if zone, err := s.almanac.zone(page.Zone); err == nil && f.At == "" && f.Problem == nil {
		f.At = s.Now().In(zone).Format(clockLayout)
	}
	if _, named := f.Values["left_open"]; f.Form.Type == "day-ended" && f.Problem == nil && !named {
		for _, p := range state.Places() {
			if p.IsOpen() {
				f.Values["left_open"] = append(f.Values["left_open"], string(p.Mark))
			}
		}
	}
	f.Choices, f.Folded = map[string][]choice{}, map[string]string{}
	for _, in := range slices.Concat(f.Form.Fields, f.Form.Lines) {
		name := in.Name + in.In
		var folded int
		if f.Choices[name], folded = offer.choices(in); folded > 0 {
			f.Folded[name] = here + "?" + withAll(r.URL.Query(), f.Values[f.Form.First], f.Form.First)
		}
	}
	if f.Form.Type == "job-closed" {
		lines, err := s.lines(r.Context(), who, &ViewIn{Job: page.Job})
		if err != nil {
			return err
		}
		f.Heed = ledger.Left(lines, len(state.Oddities()))
	}
	page.Body = f
	if f.Problem != nil {
		w.WriteHeader(f.Problem.Status)
	}
	return s.show(w, "form.html", page)
}

// withAll is a query that asks for what was folded away too.
func withAll(q url.Values, first []string, name string) string {
	if name != "" {
		q[name] = first
	}
	q.Set("all", "1")
	return q.Encode()
}

// pageOf is which page of a long list is asked for, from nought.
func pageOf(r *http.Request) int {
	n, err := strconv.Atoi(r.URL.Query().Get("page"))
	if err != nil || n < 0 || n > 1_000_000 {
		return 0
	}
	return n
}

// called tells where a refusal found its fault, by the labels of the form.
func (f form) called(where string) string {
	parts := strings.Split(strings.TrimPrefix(where, "/"), "/")
	fields := f.Fields
	before := ""
	if parts[0] == "lines" && len(parts) > 1 {
		n, err := strconv.Atoi(parts[1])
		if err != nil {
			return where
		}
		before = fmt.Sprintf("line %d", n+1)
		if len(parts) == 2 {
			return before
		}
		fields, parts = f.Lines, parts[2:]
	}
	if parts[0] == "from" && len(parts) > 1 {
		parts = parts[1:]
	}
	for _, in := range fields {
		if in.Name == parts[0] {
			if before != "" {
				return before + ", " + in.Label
			}
			return in.Label
		}
	}
	switch {
	case before != "":
		return before + ", " + parts[0]
	case parts[0] == "at":
		return "When it happened"
	}
	return where
}

// roofs are the company's jobs, as the board has them.
func (s *Server) roofs(ctx context.Context, who access.Person) (all []board.Row, err error) {
	err = s.Store.Read(ctx, func(tx *projections.Tx) error {
		all, err = board.View.All(ctx, tx, string(who.Company))
		return err
	})
	return all, err
}

// teller says a job's events in words, by the names of the company's people and roofs.
func teller(state *roofjob.State, people map[events.PersonID]string, roofs []board.Row) *record.Teller {
	t := &record.Teller{State: state, People: people, Roofs: map[events.JobID]string{}}
	for _, r := range roofs {
		t.Roofs[r.Job] = r.Name
	}
	return t
}
