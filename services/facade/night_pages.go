package facade

import (
	"cmp"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"time"

	"bydark/events"
	"bydark/projections/board"
	"bydark/projections/exposure"
	"bydark/services/access"
	"bydark/services/night"
	"bydark/services/roofjob"
	"bydark/services/takeoff"
)

// roofPlace is a place on a roof's page.
type roofPlace struct {
	exposure.Row
	Night night.Place
	// Next is the report of the first step that is missing, filled in; nil where nothing is,
	// or somebody else sends it.
	Next *prefilled
}

// next is the form of the first step that a place lacks.
func next(job string, p roofjob.Place, who access.Person) *prefilled {
	missing := p.Missing()
	if len(missing) == 0 {
		return nil
	}
	kind, known := stepReport[missing[0].Kind]
	if !known || !who.May(access.Sending(kind)) {
		return nil
	}
	link := "/jobs/" + url.PathEscape(job) + "/report/" + kind
	if kind != "panel-set" {
		link += "?" + url.Values{"where": {string(p.Mark)}, "step": {string(missing[0].ID)}}.Encode()
	}
	return &prefilled{"Report " + string(missing[0].ID), link}
}

func (s *Server) roofPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	page, row, err := s.roofSheet(r.Context(), r, who, "roof", "Roof")
	if err != nil {
		return err
	}
	at, err := s.lookOut(r.Context(), who, &ViewIn{page.Job, askedMoment(r)})
	if err != nil {
		return err
	}
	if at.past() {
		rows, err := board.Fold(at.state)
		if err != nil {
			return err
		}
		row = rows[0]
	}
	places, err := exposure.Fold(at.state)
	if err != nil {
		return err
	}
	names := s.called(who.Company)
	roofs, err := s.roofs(r.Context(), who)
	if err != nil {
		return err
	}
	moves, err := s.moves(r.Context(), who, moment{})
	if err != nil {
		return err
	}
	zone, err := s.almanac.zone(row.Site.Zone)
	if err != nil {
		return err
	}
	row.Short = row.ShortNow(moves, at.now.In(zone))
	body := struct {
		Row    board.Row
		Map    template.HTML
		Night  night.Night
		Open   []exposure.Row
		Places []roofPlace
		Notes  []string
		Taken  *takenLine
		Told   warnings
		// Estimate is the takeoff with what moved it.
		Estimate takeoff.Document
	}{
		Row: row, Notes: at.state.Assembly().Notes, Told: recentWarnings(at.state, row.Short, names, at.now),
		Estimate: at.state.Estimate().Followed(at.state.First(), at.state.Measured()),
	}
	if body.Night, err = comingNight(row, places, at.told, at.now); err != nil {
		return err
	}
	body.Taken = takenBy(at.state, teller(at.state, names, roofs), events.ReportID(r.URL.Query().Get("taken")))
	// The map is our own drawing: roof.Map escapes every text in it.
	body.Map = template.HTML(mapOf(at.state, "#"))
	stands := map[events.Place]roofjob.Place{}
	for _, p := range at.state.Places() {
		stands[p.Mark] = p
	}
	for i, p := range places {
		body.Places = append(body.Places, roofPlace{p, body.Night.Places[i], next(page.Job, stands[p.Where], who)})
		if isOpen(p) {
			body.Open = append(body.Open, p)
		}
	}
	slices.SortStableFunc(body.Places, func(a, b roofPlace) int {
		return cmp.Compare(last[isOpen(a.Row)], last[isOpen(b.Row)]) // what is open is looked for first
	})
	page.Body = body
	return s.show(w, "roof.html", page)
}

// last puts what is not open behind what is.
var last = map[bool]int{true: 0, false: 1}

func isOpen(p exposure.Row) bool { return p.Open || p.State == roofjob.Covered }

// tonightSheet is the plan as its page shows it.
type tonightSheet struct {
	tonightDoc
	CoverPct int
	Jobs     []tonightJob
	// ToOpen tells that some deck is not opened yet.
	ToOpen bool
}

// tonightJob is a chosen job with its times.
type tonightJob struct {
	candidateDoc
	Done      time.Time
	KeepsOutL float64
}

func (s *Server) tonightPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	page, _, err := s.roofSheet(r.Context(), r, who, "tonight", "Tonight")
	if err != nil {
		return err
	}
	doc, err := s.tonight(r.Context(), who, &ViewIn{page.Job, askedMoment(r)})
	if err != nil {
		return err
	}
	body := tonightSheet{tonightDoc: doc, CoverPct: roofjob.CoverSharePct}
	for _, day := range doc.Week {
		body.ToOpen = body.ToOpen || day.IfDryM2 > 0 || day.Limit != ""
	}
	for _, job := range doc.Schedule {
		for _, c := range doc.Candidates {
			if c.ID == job.ID {
				body.Jobs = append(body.Jobs, tonightJob{c, job.Done, job.KeepsOutL})
			}
		}
	}
	page.Body = body
	return s.show(w, "tonight.html", page)
}
