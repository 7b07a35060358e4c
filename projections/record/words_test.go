package record_test

import (
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/record"
	"bydark/services/assembly"
	"bydark/services/roofjob"
)

// The record says what people call the things, and leaves an id where nobody knows more.
func TestWordsForIDs(t *testing.T) {
	t.Parallel()
	doc, err := assembly.Document("flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 5, 4, 15, 30, 0, 0, time.UTC)
	s := roofjob.New("firm", "barn")
	add := func(id events.ReportID, by events.PersonID, body events.Body) {
		t.Helper()
		if err := s.Add(events.Event{ID: id, By: by, At: start.Add(time.Duration(s.Last()) * time.Minute), Sequence: s.Last() + 1, Body: body}); err != nil {
			t.Fatal(err)
		}
	}
	add("opens", "p-1", events.JobOpened{
		Name: "Barn", Site: events.Site{Zone: "America/New_York"}, Assembly: doc,
		Roof: []byte(`{"name":"Barn","planes":[{"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","15'"],["0'","15'"]],"pitch":"6/12","falls_deg":180,"eave_height":"10'"}]}`),
	})
	add("raises", "p-2", events.PunchRaised{Where: "eave-1", What: "Flashing is loose.", Blocks: events.BlocksNight})
	add("takes-back", "p-1", events.ReportWithdrawn{Report: "circle"})
	add("circle", "p-1", events.ReportWithdrawn{Report: "takes-back", Reason: "pressed by mistake"})
	tell := record.Teller{State: s, People: map[events.PersonID]string{"p-1": "Rowan", "p-2": "Juniper"}, Roofs: map[events.JobID]string{"mill": "Gable at the mill"}}
	for _, c := range []struct {
		body events.Body
		want string
	}{
		{events.PunchFixed{Item: "raises"}, `Loose end "Flashing is loose" at eave-1 fixed.`},
		{events.PunchAssigned{Item: "raises", To: "p-1"}, `Loose end "Flashing is loose" at eave-1 is Rowan's.`},
		{events.PunchAssigned{Item: "unheard", To: "the roofer's brother"}, `Loose end unheard is the roofer's brother's.`},
		{events.ReportWithdrawn{Report: "raises", Reason: "another roof"}, `Withdrawn: "Loose end at eave-1: Flashing is loose (stops night), by Juniper" (4 May 11:31 EDT). Another roof.`},
		{events.ReportWithdrawn{Report: "circle"}, `Withdrawn: "Withdrawn: takes-back. Pressed by mistake, by Rowan" (4 May 11:33 EDT).`},
		{events.PhotoAttached{To: "not-come-yet"}, `Picture attached to not-come-yet.`},
		{events.MaterialMoved{Material: "clip", Amount: quantity.Pieces(3), To: "mill"}, `3 each of ` + named(t, s, "clip") + ` moved to Gable at the mill.`},
		{events.MaterialMoved{Material: "moss", Amount: quantity.Pieces(3), To: "elsewhere"}, `3 each of moss moved to the job elsewhere.`},
		{events.CheckSigned{Check: s.Checks()[0].ID}, "Check signed at " + string(s.Checks()[0].Where) + ": " + trimmed(s.Checks()[0].What) + "."},
		{events.CheckSigned{Check: "none/such"}, "Check signed none/such."},
		{events.DayEnded{LeftOpen: []events.Place{"A"}, AcceptedBy: "p-2", Reason: "dry night"}, "Day ended; left open: A; accepted by Juniper. Dry night."},
	} {
		if got := tell.Words(events.Event{Body: c.body}); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
	bare := record.Teller{State: roofjob.New("firm", "barn")}
	if got := bare.Words(events.Event{Body: events.CheckSigned{Check: "A/felt/seen"}}); got != "Check signed A/felt/seen." {
		t.Errorf("of a job that nothing is known of: %s", got)
	}
}

func named(t *testing.T, s *roofjob.State, id events.MaterialID) string {
	t.Helper()
	m, ok := s.Assembly().Material(id)
	if !ok {
		t.Fatalf("no material %s", id)
	}
	return m.Name
}

func trimmed(s string) string {
	if n := len(s) - 1; n >= 0 && s[n] == '.' {
		return s[:n]
	}
	return s
}
