package roofjob_test

import (
	"encoding/json/jsontext"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/roofjob"
)

const pierced = `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["16'","0'"],["16'","12'"],["0'","12'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'",
  "openings":[[["4'","4'"],["8'","4'"],["8'","6'"],["4'","6'"]]],"opening_kinds":["chimney"],"pipes":[{"at":["12'","5'"],"diameter":"3 in"}]},
 {"mark":"B","outline":[["0'","12'"],["16'","12'"],["16'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`

func drawn(t testing.TB, roof string) *roofjob.State {
	t.Helper()
	return drawnBy(t, roof, "flat-clip")
}

func drawnBy(t testing.TB, roof, shipped string) *roofjob.State {
	t.Helper()
	doc, err := assembly.Document(shipped)
	must(t, err)
	s := roofjob.New("firm", "gable")
	must(t, s.Add(events.Event{ID: id(0), At: morning, Recorded: morning, By: "boss", Sequence: 1, Body: events.JobOpened{
		Name: "Gable", Site: events.Site{Lat: 40, Lon: -75, Zone: "America/New_York"}, Roof: jsontext.Value(roof), Assembly: doc,
	}}))
	return s
}

// A chimney and a pipe are places like edges: open until they are flashed, with steps,
// checks and a claim that is refused while one is missing.
func TestAnOpeningNotFlashedIsOpen(t *testing.T) {
	t.Parallel()
	s := drawn(t, pierced)
	if got := stateOf(t, s, "A/opening-1"); got != roofjob.Untouched {
		t.Errorf("before work the chimney is %s", got)
	}
	n := 0
	tight := func(body events.Body) bool {
		trim, isTrim := body.(events.TrimInstalled)
		seal, isSeal := body.(events.SealMade)
		return isTrim && strings.Contains(string(trim.Where), "/") || isSeal && strings.Contains(string(seal.Where), "/")
	}
	reports := build(s, 1)
	for _, body := range reports {
		if !tight(body) {
			n++
			must(t, tell(s, n, time.Duration(n)*time.Minute, "lead", body))
		}
	}
	for _, mark := range []events.Place{"A/opening-1", "A/pipe-1"} {
		p, ok := s.Place(mark)
		if !ok || !p.IsOpen() || !p.Panelled || p.State != assembly.DriedIn {
			t.Errorf("with panels on and no flashing %s is %+v", mark, p)
		}
	}
	if got := s.PercentClosed(); got == 100 || got == 0 {
		t.Errorf("%d %% closed while a chimney is open", got)
	}
	r := events.RefusalIn(tell(s, 800, 800*time.Minute, "lead", events.WeatherTightReached{Where: events.WholeRoof}))
	if r == nil || !slices.Contains(r.Missing, "cricket at A/opening-1: nothing of 4' done") || !slices.Contains(r.Missing, "boot at A/pipe-1: nothing of 1 done") {
		t.Fatalf("the claim gave %+v", r)
	}
	for _, c := range []struct {
		code string
		body events.Body
	}{
		{"unknown-step", events.TrimInstalled{Where: "A/opening-1", Step: "back-pan"}}, // too wide for one
		{"unknown-step", events.TrimInstalled{Where: "A/pipe-1", Step: "apron"}},
		{"more-than-there-is", events.TrimInstalled{Where: "A/opening-1", Step: "apron", Amount: amount(t, "5'")}},
		{"unknown-mark", events.TrimInstalled{Where: "A/opening-2", Step: "apron"}},
		{"not-a-plane", events.DeckOpened{Where: "A/opening-1"}},
	} {
		if r := events.RefusalIn(tell(s, 801, 801*time.Minute, "lead", c.body)); r == nil || r.Code != c.code {
			t.Errorf("%+v gave %+v; want %s", c.body, r, c.code)
		}
	}
	for _, body := range reports {
		if tight(body) {
			n++
			must(t, tell(s, n, time.Duration(n)*time.Minute, "lead", body))
		}
	}
	if items := s.Items(); len(items) != 0 {
		t.Errorf("work in its turn raised %+v", items)
	}
	must(t, tell(s, 900, 900*time.Minute, "lead", events.WeatherTightReached{Where: events.WholeRoof}))
	if got := s.PercentClosed(); got != 100 {
		t.Errorf("%d %% closed", got)
	}
	cricket := slices.ContainsFunc(s.Checks(), func(c roofjob.Check) bool {
		return c.ID == "A/opening-1/cricket/stands" && strings.Contains(c.Source, "R903.2.2")
	})
	if !cricket {
		t.Error("nobody has to look at the cricket")
	}
	use, err := s.Used("penetration-kit")
	must(t, err)
	if use.Implied.Thousandths() != 1000 {
		t.Errorf("the ledger implies %v kits", use.Implied)
	}
}

func assemblyDoc(t testing.TB, name string) jsontext.Value {
	t.Helper()
	doc, err := assembly.Document(name)
	must(t, err)
	return doc
}
