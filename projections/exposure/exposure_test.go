package exposure

import (
	"encoding/json/jsontext"
	"fmt"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/roofjob"

	"github.com/google/uuid"
)

// Since when a cover lies is told by the site's clocks, of the plane and of the edges beside
// it that lie under it; with the cover off they are open again.
func TestCoverIsToldByTheSitesClocks(t *testing.T) {
	t.Parallel()
	how, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	s, n := roofjob.New("firm", "roof"), 0
	tell := func(body events.Body) map[events.Place]Row {
		n++
		at := time.Date(2026, 11, 25, 17, 40+n, 0, 0, time.UTC)
		id := events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%d", n)).String())
		if err := s.Add(events.Event{ID: id, At: at, Recorded: at, By: "lead", Sequence: uint64(n), Body: body}); err != nil {
			t.Fatal(err)
		}
		rows, err := Fold(s)
		if err != nil {
			t.Fatal(err)
		}
		all := map[events.Place]Row{}
		for _, r := range rows {
			all[r.Where] = r
		}
		return all
	}
	tell(events.JobOpened{Name: "Roof", Site: events.Site{Lat: 40.7, Lon: -74, Zone: "America/New_York"}, Assembly: how, Roof: jsontext.Value(
		`{"name":"Shed","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"}]}`)})
	tell(events.DeckOpened{Where: "A"})
	rows := tell(events.CoverPlaced{Where: "A"})
	for mark, want := range map[events.Place]string{"A": "Under a cover since 25 Nov 12:43 EST; missing: ", "eave-1": "Under the cover of A since 25 Nov 12:43 EST; missing: "} {
		if r := rows[mark]; r.State != roofjob.Covered || r.Open || !strings.HasPrefix(r.Why, want) {
			t.Errorf("%s: %s, open %t, %s", mark, r.State, r.Open, r.Why)
		}
	}
	if loose := rows["eave-1"].Stand.Loose(); loose != "" || rows["A"].Stand.Loose() != "a cover" {
		t.Errorf("one tarp is loose twice: %s", loose)
	}
	for _, r := range tell(events.CoverRemoved{Where: "A"}) {
		if !r.Open {
			t.Errorf("without the cover %s is %s", r.Where, r.State)
		}
	}
}
