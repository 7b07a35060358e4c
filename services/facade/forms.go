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
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roofjob"

	"github.com/google/uuid"
)

// form is how a person without a program of their own sends one type of report.
type form struct {
	Type, Title, Hint string
	Fields            []field
}

// field is one member of a report on a form.
type field struct {
	Name, Label, Hint string
	// Kind says how it is asked for: text, lines, json, number, choice, places, day, time,
	// picture or pictures.
	Kind string
	// From names where the choices come from: planes, edges, places, steps, layers,
	// pieces, materials, checks, items or reports; Words are fixed ones.
	From  string
	Words []string
	// Must is not left empty.
	Must bool
	// In puts the value into a list or object of that name: lines, from, values.
	In string
}

// choice is one of a field's choices.
type choice struct{ Value, Label string }

var (
	whyField      = field{Name: "reason", Label: "Why", Kind: "text"}
	mustWhy       = field{Name: "reason", Label: "Why", Kind: "text", Must: true}
	amountField   = field{Name: "amount", Label: "How much", Hint: "Empty means all that remains. 40', 120 sqft, 12 each, 3 rolls", Kind: "text"}
	mustAmount    = field{Name: "amount", Label: "How much", Hint: "40', 120 sqft, 12 each, 3 rolls", Kind: "text", Must: true}
	material      = field{Name: "material", Label: "Material", Kind: "choice", From: "materials", Must: true}
	picturesField = field{Name: "photos", Label: "Pictures", Hint: "JPEG or PNG", Kind: "pictures"}
	itemField     = field{Name: "item", Label: "Item", Kind: "choice", From: "items", Must: true}
)

// forms are all of them, the common ones first.
var forms = []form{
	{Type: "panel-set", Title: "Panel set", Fields: []field{{Name: "piece", Label: "Panel", Kind: "choice", From: "pieces", Must: true}}},
	{Type: "trim-installed", Title: "Trim installed", Fields: []field{
		{Name: "where", Label: "Edge", Kind: "choice", From: "edges", Must: true}, {Name: "step", Label: "Step", Kind: "choice", From: "steps", Must: true}, amountField, whyField,
		{Name: "material", Label: "Which of its materials the offcuts are", Kind: "choice", From: "materials"},
		{Name: "offcuts", Label: "Lengths kept, one a line", Kind: "lines"}, {Name: "from_offcuts", Label: "Cut out of these offcuts, one a line", Hint: "Their ids or lengths", Kind: "lines"},
	}},
	{Type: "layer-laid", Title: "Layer laid", Fields: []field{
		{Name: "where", Label: "Plane or edge", Kind: "choice", From: "places", Must: true}, {Name: "step", Label: "Layer", Kind: "choice", From: "layers", Must: true}, amountField, whyField,
	}},
	{Type: "panel-cut", Title: "Panel cut", Fields: []field{
		{Name: "piece", Label: "Panel", Kind: "choice", From: "pieces", Must: true}, {Name: "length", Label: "Cut length", Kind: "text", Must: true},
		{Name: "coil", Label: "From coil", Kind: "text", In: "from"}, {Name: "stock", Label: "or from stock length", Kind: "text", In: "from"}, {Name: "offcut", Label: "or from offcut", Kind: "text", In: "from"},
		{Name: "offcut", Label: "Length kept of it", Kind: "text"}, {Name: "miscut", Label: "Cut wrong? Why", Kind: "text"},
	}},
	{Type: "seal-made", Title: "Seal made", Fields: []field{
		{Name: "where", Label: "Edge", Kind: "choice", From: "edges", Must: true}, {Name: "step", Label: "Step", Kind: "choice", From: "steps", Must: true}, amountField, whyField,
	}},
	{Type: "measure-taken", Title: "Measure taken", Fields: []field{
		{Name: "where", Label: "Where", Kind: "choice", From: "places", Must: true}, {Name: "of", Label: "Of what", Kind: "choice", Words: events.Measures(), Must: true},
		{Name: "values", Label: "Values, one a line", Kind: "lines", Must: true}, {Name: "metal_temp_c", Label: "Metal temperature, °C", Kind: "number"},
	}},
	{Type: "deck-opened", Title: "Deck opened", Fields: []field{{Name: "where", Label: "Plane", Kind: "choice", From: "planes", Must: true}, amountField, whyField}},
	{Type: "cover-placed", Title: "Cover placed", Fields: []field{{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}}},
	{Type: "cover-removed", Title: "Cover taken off", Fields: []field{{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}}},
	{Type: "punch-raised", Title: "Loose end found", Fields: []field{
		{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}, {Name: "what", Label: "What", Kind: "text", Must: true},
		{Name: "blocks", Label: "Stops", Kind: "choice", Words: []string{"night", "closeout", "nothing"}, Must: true}, picturesField,
	}},
	{Type: "punch-fixed", Title: "Loose end fixed", Fields: []field{itemField, picturesField}},
	{Type: "day-started", Title: "Day started", Fields: []field{{Name: "heads", Label: "People on the roof", Kind: "number", Must: true}, {Name: "shift_end", Label: "Shift ends", Kind: "time", Must: true}}},
	{Type: "day-ended", Title: "Day ended", Hint: "Name what stays open overnight, who accepts it and why.", Fields: []field{
		{Name: "left_open", Label: "Left open", Kind: "places", From: "places"}, {Name: "accepted_by", Label: "Accepted by", Kind: "text"}, whyField,
	}},
	{Type: "weather-tight-reached", Title: "Weather-tight reached", Fields: []field{{Name: "where", Label: "Where", Kind: "choice", From: "roof", Must: true}}},
	{Type: "material-received", Title: "Material received", Fields: []field{
		{Name: "order", Label: "Order", Kind: "text"}, {Name: "material", Label: "Material", Kind: "choice", From: "materials", Must: true, In: "lines"},
		{Name: "amount", Label: "How much came", Kind: "text", Must: true, In: "lines"}, {Name: "short", Label: "How much is short", Kind: "text", In: "lines"}, {Name: "damaged", Label: "How much came damaged", Kind: "text", In: "lines"},
	}},
	{Type: "material-spoiled", Title: "Material spoiled", Fields: []field{material, mustAmount, mustWhy}},
	{Type: "material-counted", Title: "Material counted", Fields: []field{material, mustAmount, whyField}},
	{Type: "material-returned", Title: "Material returned", Fields: []field{material, mustAmount, whyField}},
	{Type: "material-moved", Title: "Material moved", Fields: []field{material, mustAmount, {Name: "to", Label: "To job", Kind: "text", Must: true}, {Name: "offcut", Label: "Which offcut, if it is one", Kind: "text"}}},
	{Type: "material-ordered", Title: "Material ordered", Fields: []field{
		{Name: "order", Label: "Order", Kind: "text", Must: true}, {Name: "material", Label: "Material", Kind: "choice", From: "materials", Must: true, In: "lines"},
		{Name: "amount", Label: "How much", Kind: "text", Must: true, In: "lines"}, {Name: "due", Label: "Due", Kind: "day", In: "lines"},
	}},
	{Type: "check-signed", Title: "Check signed", Fields: []field{{Name: "check", Label: "Check", Kind: "choice", From: "checks", Must: true}, picturesField}},
	{Type: "punch-assigned", Title: "Loose end assigned", Fields: []field{itemField, {Name: "to", Label: "To", Kind: "text", Must: true}}},
	{Type: "punch-verified", Title: "Loose end verified", Fields: []field{itemField}},
	{Type: "punch-reopened", Title: "Loose end opened again", Fields: []field{itemField, mustWhy}},
	{Type: "punch-waived", Title: "Loose end waived", Fields: []field{itemField, mustWhy}},
	{Type: "photo-attached", Title: "Picture attached", Fields: []field{
		{Name: "to", Label: "To report", Kind: "choice", From: "reports", Must: true}, {Name: "photo", Label: "Picture", Hint: "JPEG or PNG", Kind: "picture", Must: true},
	}},
	{Type: "report-withdrawn", Title: "Report withdrawn", Fields: []field{{Name: "report", Label: "Report", Kind: "choice", From: "reports", Must: true}, mustWhy}},
	{Type: "crew-planned", Title: "Crew planned", Fields: []field{
		{Name: "heads", Label: "People", Kind: "number", Must: true}, {Name: "from", Label: "From", Kind: "day", Must: true}, {Name: "shift_minutes", Label: "Minutes a day", Kind: "number", Must: true},
	}},
	{Type: "estimate-issued", Title: "Estimate issued", Fields: []field{whyField}},
	{Type: "roof-drawn", Title: "Roof drawn anew", Fields: []field{{Name: "roof", Label: "The roof file", Hint: "JSON, as the takeoff verb reads it", Kind: "json", Must: true}, mustWhy}},
	{Type: "assembly-chosen", Title: "Another assembly chosen", Fields: []field{{Name: "assembly", Label: "The assembly's document", Hint: "JSON; /v1/schemas/assembly.json describes it", Kind: "json", Must: true}, mustWhy}},
	{Type: "job-closed", Title: "Job closed", Fields: []field{whyField}},
	{Type: "job-reopened", Title: "Job opened again", Fields: []field{mustWhy}},
}

func formOf(kind string) (form, bool) {
	i := slices.IndexFunc(forms, func(f form) bool { return f.Type == kind })
	if i < 0 {
		return form{}, false
	}
	return forms[i], true
}

// filled is a form with its choices, on a page.
type filled struct {
	Form    form
	ID      string
	At      string
	Choices map[string][]choice
	Values  map[string][]string
	Problem *problem
}

func (s *Server) formPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	id, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("make a report's id: %w", err)
	}
	values := map[string][]string{}
	for name, v := range r.URL.Query() {
		values[name] = v
	}
	return s.showForm(w, r, who, filled{ID: id.String(), Values: values})
}

func (s *Server) showForm(w http.ResponseWriter, r *http.Request, who access.Person, f filled) error {
	var known bool
	if f.Form, known = formOf(r.PathValue("type")); !known || !who.May(access.Sending(f.Form.Type)) {
		return access.ErrNotFound
	}
	page, _, err := s.roofSheet(r.Context(), r, who, "report", f.Form.Title)
	if err != nil {
		return err
	}
	state, err := s.state(r.Context(), who.Company, page.Job, moment{})
	if err != nil {
		return err
	}
	if zone, err := time.LoadLocation(page.Zone); err == nil && f.Problem == nil {
		f.At = s.Now().In(zone).Format(clockLayout)
	}
	if _, said := f.Values["left_open"]; f.Form.Type == "day-ended" && f.Problem == nil && !said {
		for _, p := range state.Places() {
			if p.IsOpen() {
				f.Values["left_open"] = append(f.Values["left_open"], string(p.Mark))
			}
		}
	}
	f.Choices = map[string][]choice{}
	for _, in := range f.Form.Fields {
		f.Choices[in.Name+in.In] = choices(state, in)
	}
	page.Body = f
	if f.Problem != nil {
		w.WriteHeader(f.Problem.Status)
	}
	return s.show(w, "form.html", page)
}

// choices are what a field offers on this roof.
func choices(state *roofjob.State, in field) []choice {
	var all []choice
	add := func(value, label string) {
		if c := (choice{value, label}); !slices.Contains(all, c) {
			all = append(all, c)
		}
	}
	for _, w := range in.Words {
		add(w, w)
	}
	if in.From == "roof" {
		add(string(events.WholeRoof), "the whole roof")
	}
	for _, p := range state.Places() {
		plane := p.Kind == assembly.PlaneKind
		stands := p.State
		if p.IsOpen() {
			stands = "OPEN"
		}
		label := fmt.Sprintf("%s (%s, %s)", p.Mark, p.Kind, stands)
		switch {
		case in.From == "places" || in.From == "roof", in.From == "planes" && plane, in.From == "edges" && !plane:
			add(string(p.Mark), label)
		}
		for _, step := range p.Steps {
			layer := step.Kind == assembly.Layer
			if in.From == "layers" && layer || in.From == "steps" && !layer && !plane {
				add(string(step.ID), string(step.ID))
			}
		}
	}
	switch in.From {
	case "pieces":
		for _, p := range state.Estimate().Planes {
			for _, panel := range p.Panels {
				add(string(panel.Mark), fmt.Sprintf("%s, %s", panel.Mark, panel.Length))
			}
		}
	case "materials":
		for _, m := range state.Assembly().Materials {
			add(string(m.ID), m.Name)
		}
	case "checks":
		for _, c := range state.Checks() {
			if !c.Done {
				picture := ""
				if c.Photo {
					picture = " (with a picture)"
				}
				add(c.ID, string(c.Where)+", "+c.What+picture)
			}
		}
	case "items":
		for _, i := range state.Items() {
			add(string(i.ID), string(i.Where)+": "+i.What+" ("+i.State+")")
		}
	case "reports":
		for _, e := range slices.Backward(state.Events()) {
			if state.Withdrawn(e.ID) == "" {
				add(string(e.ID), local(e.At, state.Opened().Site.Zone)+" – "+record.Words(e, "", "").Words)
			}
		}
	}
	return all
}

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
	one := func(name string) string {
		if v := values[name]; len(v) > 0 {
			return strings.TrimSpace(v[0])
		}
		return ""
	}
	day, _, _ := strings.Cut(one("at"), "T")
	doc := map[string]any{"id": one("id"), "type": f.Type, "at": clockOf(one("at"), zone, day)}
	nested := map[string]map[string]any{}
	for _, in := range f.Fields {
		text := one(in.Name + in.In)
		var value any = text
		switch {
		case in.Kind == "lines":
			value = slices.DeleteFunc(strings.Split(strings.ReplaceAll(text, "\r", ""), "\n"), func(s string) bool { return strings.TrimSpace(s) == "" })
		case in.Kind == "places":
			value = append([]string{}, values[in.Name]...)
		case in.Kind == "picture" && text != "":
			value = values[in.Name][len(values[in.Name])-1] // chosen anew on a form shown again
		case in.Kind == "pictures" && text != "":
			value = values[in.Name]
		case text == "":
			continue
		case in.Kind == "time":
			value = clockOf(text, zone, day)
		case in.Kind == "json":
			doc := jsontext.Value(text)
			if !doc.IsValid() {
				return nil, &events.Refusal{Code: "unreadable-value", Where: "/" + in.Name, Was: clip(text), Want: "one JSON document"}
			}
			value = doc
		case in.Kind == "number":
			var n float64
			if _, err := fmt.Sscan(text, &n); err != nil {
				return nil, &events.Refusal{Code: "unreadable-value", Where: "/" + in.Name, Was: text, Want: "a number"}
			}
			value = n
		}
		if in.In == "" {
			doc[in.Name] = value
			continue
		}
		if nested[in.In] == nil {
			nested[in.In] = map[string]any{}
		}
		nested[in.In][in.Name] = value
	}
	for name, object := range nested {
		doc[name] = object
		if name == "lines" {
			doc[name] = []any{object}
		}
	}
	return json.Marshal(doc, json.Deterministic(true))
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

func takenBy(state *roofjob.State, id events.ReportID) *takenLine {
	e, ok := state.Event(id)
	if !ok {
		return nil
	}
	line := &takenLine{Words: record.Words(e, "", state.Withdrawn(id)).Words}
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
