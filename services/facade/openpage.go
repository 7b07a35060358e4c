package facade

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// mostOpening is how large the form that opens a roof may be: a roof file, an assembly and
// the fields.
const mostOpening = 2 << 20

// openSheet is the page on which a roof is opened.
type openSheet struct {
	Values     url.Values
	Assemblies []choice
	Shapes     []roof.Shape
	Facings    []string
	Zones      []string
	Problem    *problem
	// Map draws the roof that was filled in, Words says what it is.
	Map   template.HTML
	Words string
}

// V is the value of a field, as it was filled in.
func (o openSheet) V(name string) string { return o.Values.Get(name) }

// zones are offered; any other that the clocks know will do.
var zones = []string{
	"America/New_York", "America/Chicago", "America/Denver", "America/Phoenix", "America/Los_Angeles", "America/Anchorage", "Pacific/Honolulu", "America/Toronto",
	"America/Vancouver", "Europe/London", "Europe/Berlin", "Australia/Sydney", "Pacific/Auckland",
}

func (s *Server) openPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	return s.showOpening(w, who, openSheet{Values: url.Values{"shape": {"gable"}, "faces": {"south"}}})
}

func (s *Server) showOpening(w http.ResponseWriter, who access.Person, o openSheet) error {
	for _, name := range assembly.Shipped() {
		doc, err := assembly.Document(name)
		if err != nil {
			return err
		}
		a, err := assembly.Read(doc)
		if err != nil {
			return fmt.Errorf("read the assembly %s: %w", name, err)
		}
		o.Assemblies = append(o.Assemblies, choice{name, a.Title})
	}
	o.Shapes, o.Facings, o.Zones = roof.Shapes(), roof.Facings(), zones
	if o.Problem != nil {
		w.WriteHeader(o.Problem.Status)
	}
	return s.show(w, "open.html", sheet{Title: "Open a roof", Who: who, Body: o})
}

// sendOpening looks at what was filled in, or opens the job.
func (s *Server) sendOpening(w http.ResponseWriter, r *http.Request, who access.Person) error {
	sent, err := receiveForm(w, r, mostOpening)
	if err != nil {
		return err
	}
	for _, name := range []string{"roof", "own_assembly"} { // a file takes the place of the text
		for _, file := range sent.files[name] {
			sent.values.Set(name, string(file))
		}
	}
	o := openSheet{Values: sent.values}
	job, err := openingOf(sent.values)
	if err == nil && sent.values.Get("look") != "" {
		err = o.look(job.Roof)
		if err == nil {
			return s.showOpening(w, who, o)
		}
	}
	var opened openedJob
	if err == nil {
		opened, err = s.openJob(r.Context(), who, &openJobIn{job})
	}
	if refusal := refusalIn(err); refusal != nil {
		o.Problem = refused(refusal)
		return s.showOpening(w, who, o)
	}
	if err != nil {
		return err
	}
	if _, err := s.moment(r.Context(), MomentIn{After: opened.Sequence}); err != nil {
		return err
	}
	http.Redirect(w, r, "/jobs/"+url.PathEscape(string(opened.Job)), http.StatusSeeOther)
	return nil
}

// look draws the roof.
func (o *openSheet) look(file []byte) error {
	drawn, err := roof.Read(file)
	if err != nil {
		return err
	}
	// The map is our own drawing: roof.Map escapes every text in it.
	o.Map = template.HTML(roof.Map(drawn, roof.MapState{}))
	o.Words = fmt.Sprintf("%d planes, %d edges, %s of roof.", len(drawn.Planes), len(drawn.Edges), quantity.OfArea(drawn.Area()).Shown())
	o.Values.Set("roof", string(file))
	return nil
}

// openingOf makes of the form what the API takes. Its roof is the file, or else what was said of a
// simple one.
func openingOf(v url.Values) (newJob, error) {
	one := func(name string) string { return strings.TrimSpace(v.Get(name)) }
	job := newJob{ID: one("id"), Name: one("name"), Start: one("start"), Colour: one("colour"), Roof: jsontext.Value(one("roof"))}
	job.Site.Zone = one("zone")
	if job.ID == "" {
		id, err := events.CompanyNamed(job.Name)
		if err != nil {
			return job, err
		}
		job.ID = string(id)
	}
	for _, at := range []struct {
		name string
		into *float64
	}{{"lat", &job.Site.Lat}, {"lon", &job.Site.Lon}} {
		n, err := strconv.ParseFloat(one(at.name), 64)
		if err != nil {
			return job, &events.Refusal{Code: "unreadable-value", Where: "/site/" + at.name, Was: clip(one(at.name)), Want: "degrees, such as 41.2 or -74.6"}
		}
		*at.into = n
	}
	job.Assembly = jsontext.Value(one("own_assembly"))
	if len(job.Assembly) == 0 {
		name, err := json.Marshal(one("assembly"))
		if err != nil {
			return job, err
		}
		job.Assembly = name
	}
	if !job.Assembly.IsValid() {
		return job, &events.Refusal{Code: "unreadable-value", Where: "/assembly", Was: clip(string(job.Assembly)), Want: "one JSON document"}
	}
	if len(job.Roof) > 0 {
		if !job.Roof.IsValid() {
			return job, &events.Refusal{Code: "unreadable-value", Where: "/roof", Was: clip(string(job.Roof)), Want: "one JSON document"}
		}
		return job, nil
	}
	simple := roof.Simple{Name: job.Name, Shape: roof.Shape(one("shape")), Pitch: one("pitch"), Faces: one("faces")}
	for _, l := range []struct {
		name string
		into *quantity.Length
	}{{"along", &simple.Along}, {"across", &simple.Across}, {"eave_height", &simple.EaveHeight}} {
		length, err := quantity.ParseLength(one(l.name))
		if err != nil {
			r := refusalIn(err)
			r.Where = l.name
			return job, r
		}
		*l.into = length
	}
	file, err := simple.File()
	job.Roof = file
	return job, err
}
