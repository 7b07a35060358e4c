package facade

import (
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"slices"

	"bydark/events"
	"bydark/services/access"
	"bydark/services/cutlist"
	"bydark/services/cutplan"
	"bydark/services/cutsheet"
	"bydark/services/takeoff"
)

// cutQuery reads what a link to a cut plan says.
func cutQuery(r *http.Request) *cutIn {
	q := r.URL.Query()
	in := &cutIn{Kerf: q.Get("kerf"), Keep: q.Get("keep")}
	in.Job, in.At, in.Known = r.PathValue("job"), q.Get("at"), q.Get("known")
	return in
}

func (s *Server) cutplanPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	page, _, err := s.roofSheet(r.Context(), r, who, "cutplan", "Cut plan")
	if err != nil {
		return err
	}
	in := cutQuery(r)
	doc, err := s.cutplan(r.Context(), who, in)
	if err != nil {
		return err
	}
	body := struct {
		cutPlans
		Query string
	}{cutPlans: doc}
	if r.URL.RawQuery != "" {
		body.Query = "?" + url.Values{"kerf": {in.Kerf}, "keep": {in.Keep}}.Encode()
	}
	page.Body = body
	return s.show(w, "cutplan.html", page)
}

// Drawn is a plan's bars for the page.
func (cutPlans) Drawn(p *cutlist.Plan) (template.HTML, error) {
	s := cutsheet.Sheet{Title: p.Name, Sections: []cutsheet.Section{section(p, nil)}}
	pages, err := s.Pages()
	if err != nil {
		return "", err
	}
	// The drawing is our own: cutsheet.SVG escapes every text in it.
	return template.HTML(cutsheet.SVG("Cut plan of "+p.Name, pages)), nil
}

func section(p *cutlist.Plan, labels func(mark string) cutsheet.Label) cutsheet.Section {
	return cutsheet.Section{Title: p.Name, Request: p.Request(), Answer: p.Plan, Labels: labels}
}

// cutSheet lays out what is printed: every plan's bars, then a label for each piece with a
// code that opens the piece's page on the phone.
func (s *Server) cutSheet(r *http.Request, who access.Person) (title string, pages []cutsheet.Page, err error) {
	page, _, err := s.roofSheet(r.Context(), r, who, "cutplan", "Cut sheet")
	if err != nil {
		return "", nil, err
	}
	doc, err := s.cutplan(r.Context(), who, cutQuery(r))
	if err != nil {
		return "", nil, err
	}
	sheet := cutsheet.Sheet{Title: page.Title, Sub: "as of " + page.When(s.Now()), Foot: takeoff.Caution}
	base := s.base(r) + "/jobs/" + url.PathEscape(page.Job) + "/piece?"
	for _, p := range doc.Plans {
		if p.Plan == nil {
			continue
		}
		sheet.Sections = append(sheet.Sections, section(p, func(mark string) cutsheet.Label {
			l := cutsheet.Label{Link: base + url.Values{"material": {string(p.Material)}, "mark": {mark}}.Encode()}
			if i := slices.IndexFunc(p.Pieces, func(c cutlist.Piece) bool { return c.Mark == mark }); i >= 0 {
				l.Lines = p.Pieces[i].Ends()
			}
			l.Lines = append(l.Lines, page.Name+", "+p.Name)
			return l
		}))
	}
	pages, err = sheet.Pages()
	return sheet.Title, pages, err
}

// base is how people reach the service, for what is printed.
func (s *Server) base(r *http.Request) string {
	switch {
	case s.public != nil:
		return s.public.Scheme + "://" + s.public.Host
	case r.TLS != nil:
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

func (s *Server) cutSheetSVG(w http.ResponseWriter, r *http.Request, who access.Person) error {
	title, pages, err := s.cutSheet(r, who)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	_, err = io.WriteString(w, cutsheet.SVG(title, pages))
	s.sent(r, err)
	return nil
}

func (s *Server) cutSheetPDF(w http.ResponseWriter, r *http.Request, who access.Person) error {
	title, pages, err := s.cutSheet(r, who)
	if err != nil {
		return err
	}
	file, err := cutsheet.PDF(title, pages, s.Now())
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", "cut-sheet-"+r.PathValue("job")+".pdf"))
	_, err = w.Write(file)
	s.sent(r, err)
	return nil
}

// pieceBody is what the page of one piece shows.
type pieceBody struct {
	Material string
	Stuff    string
	Piece    *cutlist.Piece
	Source   cutlist.Source
	Planned  bool
	// Do are the reports that come next, filled in as far as the plan knows.
	Do []prefilled
}

// prefilled is a link to a form with its answers.
type prefilled struct{ Label, Link string }

// piecePage is where a label's code leads.
func (s *Server) piecePage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	page, _, err := s.roofSheet(r.Context(), r, who, "cutplan", "Piece")
	if err != nil {
		return err
	}
	doc, err := s.cutplan(r.Context(), who, cutQuery(r))
	if err != nil {
		return err
	}
	q := r.URL.Query()
	for _, p := range doc.Plans {
		if string(p.Material) != q.Get("material") {
			continue
		}
		for i := range p.Pieces {
			piece := &p.Pieces[i]
			if piece.Mark == q.Get("mark") {
				page.Title = piece.Mark + " – " + page.Name
				page.Body = pieceOf(page.Job, p, piece, who)
				return s.show(w, "piece.html", page)
			}
		}
	}
	return access.ErrNotFound
}

func pieceOf(job string, p *cutlist.Plan, piece *cutlist.Piece, who access.Person) pieceBody {
	b := pieceBody{Material: p.Name, Stuff: p.Stuff, Piece: piece}
	b.Source, b.Planned = p.Source(piece.Mark)
	add := func(label, kind string, fill url.Values) {
		if who.May(access.Sending(kind)) {
			b.Do = append(b.Do, prefilled{label, "/jobs/" + url.PathEscape(job) + "/report/" + kind + "?" + fill.Encode()})
		}
	}
	panel := piece.LowEnd != ""
	switch {
	case panel && piece.State == cutlist.ToCut:
		fill := url.Values{"piece": {piece.Mark}, "length": {piece.Length.String()}}
		switch {
		case b.Source.Offcut != "":
			fill.Set("offcutfrom", b.Source.Offcut)
		case p.Pack == "coil":
			fill.Set("coilfrom", "coil")
		default:
			fill.Set("stockfrom", p.StockLength.String())
		}
		if b.Planned && b.Source.Last && b.Source.Bar.Keep && p.Pack != "coil" {
			fill.Set("offcut", (cutplan.Measure{N: b.Source.Bar.Offcut.N}).String())
		}
		add("It is cut", "panel-cut", fill)
		fill.Del("offcut")
		fill.Set("miscut", "cut wrong")
		add("It was cut wrong", "panel-cut", fill)
	case panel && piece.State == cutlist.IsCut:
		add("It is set", "panel-set", url.Values{"piece": {piece.Mark}})
	case piece.State == cutlist.ToCut:
		fill := url.Values{"where": {string(piece.Where)}, "step": {string(piece.Step)}, "amount": {piece.Length.String()}, "material": {string(p.Material)}}
		if b.Source.Offcut != "" {
			fill.Set("from_offcuts", b.Source.Offcut)
		}
		if b.Planned && b.Source.Last && b.Source.Bar.Keep {
			fill.Set("offcuts", (cutplan.Measure{N: b.Source.Bar.Offcut.N}).String())
		}
		add("It is fixed", "trim-installed", fill)
		add("It is spoiled", "material-spoiled", url.Values{"material": {string(p.Material)}, "amount": {piece.Length.String()}})
	}
	return b
}

// Link is a form that moves an offered offcut to a roof.
func (cutPlans) Link(o cutlist.Offer) string {
	return "/jobs/" + url.PathEscape(string(o.Offcut.Job)) + "/report/material-moved?" + url.Values{
		"material": {string(o.Report.Material)}, "amount": {o.Report.Amount.String()}, "offcut": {o.Report.Offcut}, "to": {string(o.Report.To)},
	}.Encode()
}

// PieceLink is a piece's page.
func (c cutPlans) PieceLink(material events.MaterialID, mark string) string {
	return "/jobs/" + url.PathEscape(c.Job) + "/piece?" + url.Values{"material": {string(material)}, "mark": {mark}}.Encode()
}

// barPart is some bars that are cut alike, as the page shows them.
type barPart struct {
	Numbers, Length, Stock, Left string
	Count                        int
	Keep                         bool
	Strip                        template.HTML
	Cuts                         []barCut
}

// barCut is one cut of them: which pieces it makes, bar by bar.
type barCut struct{ Length, Marks string }

// Bars are a plan's bars for the page, those that are cut alike once.
func (cutPlans) Bars(p *cutlist.Plan) []barPart {
	q := p.Request()
	lengths := map[string]string{}
	for _, piece := range p.Pieces {
		lengths[piece.Mark] = piece.Length.String()
	}
	var parts []barPart
	for _, alike := range cutsheet.Alike(&q, p.Plan) {
		bar := &p.Plan.Bars[alike[0]]
		part := barPart{Numbers: cutsheet.Numbers(alike), Length: bar.StockLength.String(), Count: len(alike), Keep: bar.Keep}
		if bar.Stock != part.Length {
			part.Stock = bar.Stock
		}
		if bar.Offcut.N > 0 {
			part.Left = bar.Offcut.String()
		}
		// The drawing is our own: cutsheet.Strip escapes every text in it.
		part.Strip = template.HTML(cutsheet.Strip(&q, p.Plan, alike[0]))
		for k, first := range bar.Pieces {
			cut := barCut{Length: lengths[first]}
			for i, n := range alike {
				if i > 0 {
					cut.Marks += ", "
				}
				cut.Marks += p.Plan.Bars[n].Pieces[k]
			}
			part.Cuts = append(part.Cuts, cut)
		}
		parts = append(parts, part)
	}
	return parts
}
