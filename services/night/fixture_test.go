package night_test

import (
	"encoding/json/jsontext"
	"fmt"
	"os"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/roofjob"
	"bydark/services/weather"

	"github.com/google/uuid"
)

// site is in New York's zone; work begins in its summer time.
var (
	site    = events.Site{Lat: 40.7, Lon: -74, Zone: "America/New_York"}
	newYork = func() *time.Location {
		zone, err := time.LoadLocation(site.Zone)
		if err != nil {
			panic(err)
		}
		return zone
	}()
	eight = time.Date(2026, 5, 4, 8, 0, 0, 0, newYork)
	two   = eight.Add(6 * time.Hour)
)

const (
	// gable is 16 ft by 24 ft in plan, at 6/12.
	gable = `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","12'"],["16'","12'"],["16'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`
	// steps is a steep plane whose water runs over a break on to a flat one below.
	broken = `{"name":"Broken","planes":[
 {"mark":"low","outline":[["0'","0'"],["20'","0'"],["20'","10'"],["0'","10'"]],"pitch":"4/12","falls_deg":180,"eave_height":"9'"},
 {"mark":"high","outline":[["0'","10'"],["20'","10'"],["20'","25'"],["0'","25'"]],"pitch":"12/12","falls_deg":180}]}`
)

func ell(t testing.TB) string {
	t.Helper()
	doc, err := os.ReadFile("../../cmd/bydark/demo/orchard-ell.json")
	if err != nil {
		t.Fatal(err)
	}
	return string(doc)
}

// job is a roof on which work is told, a minute after the last.
type job struct {
	*roofjob.State
	t  testing.TB
	n  int
	at time.Time
}

func open(t testing.TB, roof, built string) *job {
	t.Helper()
	doc, err := assembly.Document(built)
	if err != nil {
		t.Fatal(err)
	}
	return openAs(t, roof, doc)
}

// openAs opens a roof that an assembly of one's own is built by.
func openAs(t testing.TB, roof string, doc []byte) *job {
	t.Helper()
	j := &job{State: roofjob.New("firm", "roof"), t: t, at: eight}
	j.tell(events.JobOpened{Name: "Roof", Site: site, Roof: jsontext.Value(roof), Assembly: doc})
	return j
}

func (j *job) tell(bodies ...events.Body) {
	j.t.Helper()
	for _, body := range bodies {
		j.n++
		j.at = j.at.Add(time.Minute)
		id := events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%d", j.n)).String())
		if err := j.Add(events.Event{ID: id, At: j.at, Recorded: j.at, By: "lead", Sequence: uint64(j.n), Body: body}); err != nil {
			j.t.Fatal(err)
		}
	}
}

func (j *job) layer(where events.Place, steps ...events.StepID) {
	j.t.Helper()
	for _, step := range steps {
		j.tell(events.LayerLaid{Where: where, Step: step})
	}
}

// panel sets the first n panels of a plane; all of them for -1.
func (j *job) panel(plane events.Place, n int) {
	j.t.Helper()
	for _, p := range j.Estimate().Planes {
		if p.Mark != plane {
			continue
		}
		for i, panel := range p.Panels {
			if n < 0 || i < n {
				j.tell(events.PanelSet{Piece: panel.Mark})
			}
		}
	}
}

// finish does every step that is left, place by place.
func (j *job) finish() {
	j.t.Helper()
	for _, p := range j.Places() {
		if p.Kind == assembly.PlaneKind {
			j.tell(events.DeckOpened{Where: p.Mark})
		}
		for _, s := range p.Missing() {
			switch s.Kind {
			case assembly.Panels:
				j.panel(p.Mark, -1)
			case assembly.Layer:
				j.layer(p.Mark, s.ID)
			case assembly.Trim:
				j.tell(events.TrimInstalled{Where: p.Mark, Step: s.ID})
			default:
				j.tell(events.SealMade{Where: p.Mark, Step: s.ID})
			}
		}
	}
}

func amount(t testing.TB, s string) *quantity.Amount {
	t.Helper()
	a, err := quantity.ParseAmount(s)
	if err != nil {
		t.Fatal(err)
	}
	return &a
}

// skies is a forecast of hours from midnight of the day on; each hour by the function.
func skies(hours int, each func(n int, h *weather.Hour)) night.Told {
	f := weather.Forecast{Kind: weather.KindCSV, Issued: eight.Add(-time.Hour).UTC()}
	from := time.Date(2026, 5, 4, 0, 0, 0, 0, newYork)
	for n := range hours {
		h := weather.Hour{Time: from.Add(time.Duration(n) * time.Hour).UTC(), RainMM: weather.Known(0), ChancePct: weather.Known(0), WindMS: weather.Known(0)}
		each(n, &h)
		f.Hours = append(f.Hours, h)
	}
	return night.Told{Forecast: f, Recorded: eight}
}

func (j *job) night(told night.Told) night.Night {
	j.t.Helper()
	w, err := night.Coming(site, night.DayOf(j.State), two)
	if err != nil {
		j.t.Fatal(err)
	}
	return night.Reckon(night.Stands(j.State), w, told)
}

func (j *job) place(n night.Night, where events.Place) night.Place {
	j.t.Helper()
	for _, p := range n.Places {
		if p.Where == where {
			return p
		}
	}
	j.t.Fatalf("no place %s", where)
	return night.Place{}
}
