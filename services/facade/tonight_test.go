package facade

import (
	"encoding/json/jsontext"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/roofjob"

	"github.com/google/uuid"
)

// twoPlanes is a gable of two planes of 40 ft by some 17 ft.
const twoPlanes = `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","15'"],["40'","15'"],["40'","30'"],["0'","30'"]],"pitch":"6/12","falls_deg":0,"eave_height":"10'"}]}`

// What stays open lists every way in, what comes past covers too: with what the plan keeps
// out it is the whole night, as board and exposure tell it.
func TestTonightTellsOfAllTheWater(t *testing.T) {
	t.Parallel()
	how, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	noon := time.Date(2026, 5, 4, 16, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		work []events.Body
		only string // what alone stays open, a covered plane
	}{
		{"A lies under a cover", []events.Body{events.DeckOpened{Where: "A"}, events.CoverPlaced{Where: "A"}}, "A"},
		{"A lies under a cover and B is bare", []events.Body{events.DeckOpened{Where: events.WholeRoof}, events.CoverPlaced{Where: "A"}}, ""},
		{"both are bare", []events.Body{events.DeckOpened{Where: events.WholeRoof}}, ""},
	} {
		s := roofjob.New("firm", "roof")
		for n, body := range append([]events.Body{events.JobOpened{
			Name: "Roof", Site: events.Site{Lat: 40.7, Lon: -74, Zone: "America/New_York"}, Roof: jsontext.Value(twoPlanes), Assembly: how,
		}}, append(c.work, events.DayStarted{Heads: 2, ShiftEnd: noon.Add(4 * time.Hour)})...) {
			at := noon.Add(time.Duration(n) * time.Second)
			id := events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%d", n)).String())
			if err := s.Add(events.Event{ID: id, At: at, Recorded: at, By: "lead", Sequence: uint64(n + 1), Body: body}); err != nil {
				t.Fatal(err)
			}
		}
		for minutes := 10; minutes < 250; minutes += 20 {
			plan, err := night.Plan(s, night.Told{}, map[string]int64{}, nil, noon.Add(time.Duration(minutes)*time.Minute))
			if err != nil {
				t.Fatal(err)
			}
			doc, sum, all := documentOf(s, plan), 0.0, 0.0
			for _, left := range doc.LeftOpen {
				sum += left.EntersL
			}
			for _, p := range plan.Night.Places {
				all += p.WeightL
			}
			if math.Abs(sum+doc.RoofKeepsOutL-all) > 1e-6 || all < 100 {
				t.Errorf("%s, %d min: %g l stay and %g are kept out of %g", c.name, minutes, sum, doc.RoofKeepsOutL, all)
			}
			if c.only == "" {
				continue
			}
			if len(doc.LeftOpen) != 1 || doc.LeftOpen[0].Where != c.only || !strings.Contains(doc.LeftOpen[0].Why, "Under its cover some still comes in: "+night.Volume(plan.Night.Water.ExpectedL)) {
				t.Errorf("%s, %d min: %+v", c.name, minutes, doc.LeftOpen)
			}
			if means := doc.LeftOpen[0].Means; !strings.Contains(means, "past its cover comes as much as falls on 120 sqft") || !strings.Contains(means, "20 % of the bare deck") {
				t.Errorf("%s: %s", c.name, means)
			}
		}
	}
}
