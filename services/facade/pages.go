package facade

import (
	"bytes"
	"cmp"
	"context"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/projections/board"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/night"
	"bydark/services/roofjob"
)

//go:embed pages/*.html pages/style.css
var pageFiles embed.FS

var pageTemplates = template.Must(template.New("").Funcs(template.FuncMap{
	"whenIn": local,
	"litres": night.Volume,
	"pct":    func(p *float64) string { return fmt.Sprintf("%.0f %%", *p) },
}).ParseFS(pageFiles, "pages/*.html"))

// local is a time as the site's clocks show it; UTC where the zone is not known.
func local(t time.Time, zone string) string {
	at, err := time.LoadLocation(zone)
	if err != nil {
		at = time.UTC
	}
	return t.In(at).Format("2 Jan 15:04 MST")
}

// When is a time by the clocks of the roof's site.
func (s sheet) When(t time.Time) string { return local(t, s.Zone) }

// Called is what a person is called; their id where they are not known any more.
func (s sheet) Called(id events.PersonID) string {
	if name, ok := s.names[id]; ok {
		return name
	}
	return string(id)
}

// Known is what a person is called where a text is somebody's id; the text itself otherwise.
func (s sheet) Known(said string) string { return s.Called(events.PersonID(said)) }

// MaySend tells whether who looks may send a type of report: a button that would be
// refused is not shown.
func (s sheet) MaySend(report string) bool { return s.Who.May(access.Sending(report)) }

// sheet is what every page has.
type sheet struct {
	Title   string
	Who     access.Person
	Company string
	Job     string
	Name    string
	Zone    string
	names   map[events.PersonID]string
	// Here is the page's name in the roof's navigation.
	Here string
	// Then says in words which past moment the page shows; empty for now.
	Then string
	Body any
}

// askedMoment is the moment that a page's address asks for.
func askedMoment(r *http.Request) MomentIn {
	q := r.URL.Query()
	return MomentIn{At: q.Get("at"), Known: q.Get("known")}
}

// then says which moment it is by the site's clocks; empty for now.
func (s *Server) then(ctx context.Context, in MomentIn, zone string) (string, error) {
	m, err := s.moment(ctx, in)
	if err != nil || !m.past() {
		return "", err
	}
	site, err := s.almanac.zone(zone)
	if err != nil {
		return "", err
	}
	const clock = "Mon 2 Jan 2006 15:04 MST"
	var words []string
	if !m.at.IsZero() {
		words = append(words, "as it was "+m.at.In(site).Format(clock))
	}
	if !m.known.IsZero() {
		words = append(words, "as it was known "+m.known.In(site).Format(clock))
	}
	return strings.Join(words, ", "), nil
}

// called is what a company's people are called.
func (s *Server) called(company events.CompanyID) map[events.PersonID]string {
	names := map[events.PersonID]string{events.Self: "the service"}
	for _, p := range s.People.People(company) {
		names[p.ID] = p.Name
	}
	return names
}

// show writes a page whole or not at all.
func (s *Server) show(w http.ResponseWriter, name string, page sheet) error {
	page.Company = s.People.CompanyName(page.Who.Company)
	page.names = s.called(page.Who.Company)
	var b bytes.Buffer
	if err := pageTemplates.ExecuteTemplate(&b, name, page); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err := w.Write(b.Bytes())
	return err
}

func (s *Server) style(w http.ResponseWriter, _ *http.Request, _ access.Person) error {
	css, err := pageFiles.ReadFile("pages/style.css")
	if err != nil {
		return fmt.Errorf("read the style: %w", err)
	}
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Header().Set("Cache-Control", "public, max-age=300")
	_, err = w.Write(css)
	return err
}

func (s *Server) boardPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	doc, err := s.board(r.Context(), who, &MomentIn{})
	if err != nil {
		return err
	}
	// The roof to worry about first; those into which nothing gets last, as they came.
	slices.SortStableFunc(doc.Jobs, func(a, b RoofRow) int {
		return cmp.Compare(uint(a.Night.Rank)-1, uint(b.Night.Rank)-1)
	})
	return s.show(w, "board.html", sheet{Title: "Roofs", Who: who, Body: doc.Jobs})
}

// roofSheet begins a page of one roof.
func (s *Server) roofSheet(ctx context.Context, r *http.Request, who access.Person, here, title string) (sheet, board.Row, error) {
	in := ViewIn{Job: r.PathValue("job")}
	row, err := s.roof(ctx, who, &in)
	if err != nil {
		return sheet{}, row, err
	}
	then, err := s.then(ctx, askedMoment(r), row.Site.Zone)
	return sheet{Title: title + " – " + row.Name, Who: who, Job: in.Job, Name: row.Name, Zone: row.Site.Zone, Here: here, Then: then}, row, err
}

// viewPage is the page of one view of a roof: what the API answers, shown.
func viewPage[D any](s *Server, here, title string, view func(context.Context, access.Person, *ViewIn) (D, error)) plain {
	return func(w http.ResponseWriter, r *http.Request, who access.Person) error {
		page, _, err := s.roofSheet(r.Context(), r, who, here, title)
		if err != nil {
			return err
		}
		if page.Body, err = view(r.Context(), who, &ViewIn{page.Job, askedMoment(r)}); err != nil {
			return err
		}
		return s.show(w, here+".html", page)
	}
}

// recordBody is a page of the record, the newest first.
type recordBody struct {
	Events         []record.Line
	Earlier, Later string
	All            int
}

// recordOnPage is how many events a page of the record has.
const recordOnPage = 60

func (s *Server) recordPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	page, _, err := s.roofSheet(r.Context(), r, who, "record", "Record")
	if err != nil {
		return err
	}
	state, err := s.state(r.Context(), who.Company, page.Job, moment{})
	if err != nil {
		return err
	}
	roofs, err := s.roofs(r.Context(), who)
	if err != nil {
		return err
	}
	var all []journal.Entry
	if err := s.entries(r.Context(), record.Query{Company: string(who.Company), Job: page.Job}, func(e journal.Entry) error {
		all = append(all, e)
		return nil
	}); err != nil {
		return err
	}
	slices.Reverse(all)
	n := pageOf(r)
	body := recordBody{All: len(all)}
	tell := teller(state, s.called(who.Company), roofs)
	for _, e := range all[min(len(all), n*recordOnPage):min(len(all), (n+1)*recordOnPage)] {
		event, err := roofjob.EventOf(e)
		if err != nil {
			return fmt.Errorf("event %d of the record: %w", e.Sequence, err)
		}
		body.Events = append(body.Events, tell.Line(event, e.Digest.String()))
	}
	at := func(n int) string { return fmt.Sprintf("/jobs/%s/record?page=%d", url.PathEscape(page.Job), n) }
	if n > 0 {
		body.Later = at(n - 1)
	}
	if len(all) > (n+1)*recordOnPage {
		body.Earlier = at(n + 1)
	}
	page.Body = body
	return s.show(w, "record.html", page)
}

// listed are the reports that a person may send, the common ones first.
func listed(who access.Person) []form {
	var may []form
	for _, f := range forms {
		if who.May(access.Sending(f.Type)) {
			may = append(may, f)
		}
	}
	return may
}

func (s *Server) reportPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	page, _, err := s.roofSheet(r.Context(), r, who, "report", "Report")
	if err != nil {
		return err
	}
	page.Body = listed(who)
	return s.show(w, "report.html", page)
}
