package facade

import (
	"context"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/roofjob"
)

// clockLayout is how a browser's field of date and time writes one.
const clockLayout = "2006-01-02T15:04:05"

// clockOf is a time of the site's clocks as RFC 3339. A time of day alone is one of the given day. What is none of them stays as it is:
// the reader of reports says what would be right.
func clockOf(text string, zone *time.Location, day string) string {
	for _, try := range []struct{ layout, text string }{
		{clockLayout, text}, {"2006-01-02T15:04", text}, {"2006-01-02 15:04", text}, {"2006-01-02T15:04", day + "T" + text}, {"2006-01-02T3:04pm", day + "T" + strings.ToLower(strings.ReplaceAll(text, " ", ""))},
	} {
		if t, err := time.ParseInLocation(try.layout, try.text, zone); err == nil {
			return t.Format(time.RFC3339)
		}
	}
	return text
}

// reportOf makes the report's JSON of what was filled in; times without an offset are those of the zone.
func (f form) reportOf(values map[string][]string, zone *time.Location) ([]byte, error) {
	day, _, _ := strings.Cut(said(values["at"], 0), "T")
	doc := map[string]any{"id": said(values["id"], 0), "type": f.Type, "at": clockOf(said(values["at"], 0), zone, day)}
	nested := map[string]map[string]any{}
	for _, in := range f.Fields {
		value, err := in.value(values[in.Name+in.In], 0, zone, day)
		switch {
		case err != nil:
			return nil, err
		case value == nil:
			continue
		case in.In == "":
			doc[in.Name] = value
			continue
		case nested[in.In] == nil:
			nested[in.In] = map[string]any{}
		}
		nested[in.In][in.Name] = value
	}
	for name, object := range nested {
		doc[name] = object
	}
	if f.Lines != nil {
		lines := []any{}
		for i := range f.rows(values) {
			line, err := f.lineOf(values, i, zone, day)
			if err != nil {
				return nil, err
			}
			if len(line) > 0 {
				lines = append(lines, line)
			}
		}
		doc["lines"] = lines
	}
	return json.Marshal(doc, json.Deterministic(true))
}

// said is the nth of a field's values without the space around it; empty when there are fewer.
func said(values []string, n int) string {
	if n >= len(values) {
		return ""
	}
	return strings.TrimSpace(values[n])
}

// rows is how many lines were filled in or shown.
func (f form) rows(values map[string][]string) int {
	n := 0
	for _, in := range f.Lines {
		n = max(n, len(values[in.Name+in.In]))
	}
	return n
}

// lineOf is one of a form's lines, empty where nothing was filled in. Where only what is short or
// damaged was said, none came that can be used.
func (f form) lineOf(values map[string][]string, n int, zone *time.Location, day string) (map[string]any, error) {
	line := map[string]any{}
	for _, in := range f.Lines {
		value, err := in.value(values[in.Name+in.In], n, zone, day)
		if err != nil {
			return nil, err
		}
		if value != nil {
			line[in.Name] = value
		}
	}
	for _, lost := range []string{"short", "damaged"} {
		text, _ := line[lost].(string)
		if _, came := line["amount"]; came || text == "" {
			continue
		}
		if a, err := quantity.ParseAmount(text); err == nil {
			if none, err := a.Sub(a); err == nil {
				line["amount"] = none.String()
			}
		}
	}
	return line, nil
}

// value is the nth value of a field as the report has it; nil where none was given.
func (in field) value(values []string, n int, zone *time.Location, day string) (any, error) {
	text := said(values, n)
	switch {
	case in.Kind == "lines":
		return slices.DeleteFunc(strings.Split(strings.ReplaceAll(text, "\r", ""), "\n"), func(s string) bool { return strings.TrimSpace(s) == "" }), nil
	case in.Kind == "places":
		return append([]string{}, values...), nil
	case text == "":
		return nil, nil
	case in.Kind == "picture":
		return values[len(values)-1], nil // chosen anew on a form shown again
	case in.Kind == "pictures":
		return values, nil
	case in.Kind == "time":
		return clockOf(text, zone, day), nil
	case in.Kind == "json":
		doc := jsontext.Value(text)
		if !doc.IsValid() {
			return nil, &events.Refusal{Code: "unreadable-value", Where: "/" + in.Name, Was: clip(text), Want: "one JSON document"}
		}
		return doc, nil
	case in.Kind == "number":
		var n float64
		if _, err := fmt.Sscan(text, &n); err != nil {
			return nil, &events.Refusal{Code: "unreadable-value", Where: "/" + in.Name, Was: text, Want: "a number"}
		}
		return n, nil
	}
	return text, nil
}

func (s *Server) sendForm(w http.ResponseWriter, r *http.Request, who access.Person) error {
	f, known := formOf(r.PathValue("type"))
	if !known || !who.May(access.Sending(f.Type)) {
		return access.ErrNotFound
	}
	job, err := s.jobOf(r.Context(), who, r.PathValue("job"))
	if err != nil {
		return err
	}
	sent, err := receiveForm(w, r, mostForm)
	if err != nil {
		return err
	}
	if sent.values.Get("more") != "" { // lines that are not there yet
		sent.values.Del("more")
		return s.showForm(w, r, who, filled{ID: sent.values.Get("id"), At: sent.values.Get("at"), Values: sent.values, Spare: moreLines})
	}
	got, err := s.formReport(r.Context(), who, job, f, sent)
	if err != nil {
		return err
	}
	if got.Problem != nil {
		return s.showForm(w, r, who, filled{ID: sent.values.Get("id"), At: sent.values.Get("at"), Values: sent.values, Problem: got.Problem})
	}
	if _, err := s.moment(r.Context(), MomentIn{After: got.Sequence}); err != nil {
		return err
	}
	http.Redirect(w, r, "/jobs/"+string(job)+"?taken="+url.QueryEscape(got.ID), http.StatusSeeOther)
	return nil
}

// formReport keeps the pictures of a form and sends its report. Pictures of a report that is refused stay named on the form that is shown
// again, so that nobody has to send them twice.
func (s *Server) formReport(ctx context.Context, who access.Person, job events.JobID, f form, sent sentForm) (result, error) {
	zone, err := s.zoneOf(ctx, who, job)
	if err != nil {
		return result{}, err
	}
	raw, err := func() ([]byte, error) {
		for _, in := range f.Fields {
			if in.Kind != "picture" && in.Kind != "pictures" {
				continue
			}
			if err := s.keepPictures(ctx, in.Name, sent); err != nil {
				return nil, err
			}
		}
		return f.reportOf(sent.values, zone)
	}()
	if refusal := events.RefusalIn(err); refusal != nil {
		return result{Problem: refused(refusal)}, nil
	}
	if err != nil {
		return result{}, err
	}
	return s.report(ctx, who, job, raw)
}

// keepPictures puts the digests of the pictures that came in a field among its values.
func (s *Server) keepPictures(ctx context.Context, name string, sent sentForm) error {
	if len(sent.files[name]) > mostPictures {
		return &events.Refusal{Code: "too-many", Where: "/" + name, Was: fmt.Sprint(len(sent.files[name])), Want: fmt.Sprintf("%d pictures at most at once", mostPictures)}
	}
	for _, data := range sent.files[name] {
		digest, err := s.Photos.Keep(ctx, data)
		if refusal := events.RefusalIn(err); refusal != nil {
			refusal.Where = "/" + name
		}
		if err != nil {
			return err
		}
		if !slices.Contains(sent.values[name], string(digest)) {
			sent.values[name] = append(sent.values[name], string(digest))
		}
	}
	return nil
}

// takenLine says after a form was sent what was taken, and what the log found in it.
type takenLine struct {
	Words string
	But   []string
}

func takenBy(state *roofjob.State, tell *record.Teller, id events.ReportID) *takenLine {
	e, ok := state.Event(id)
	if !ok {
		return nil
	}
	line := &takenLine{Words: tell.Words(e)}
	for _, o := range state.Oddities() {
		if o.Report == id {
			line.But = append(line.But, o.What)
		}
	}
	if i, ok := state.Item(id); ok && i.Derived {
		line.But = append(line.But, i.What)
	}
	return line
}
