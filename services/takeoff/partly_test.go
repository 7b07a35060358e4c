package takeoff_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/takeoff"
)

// A flat porch before the house hides the house's takeoff no more: it is left out, named,
// and everything of the house is as it would be without it, but for the edge between.
func TestPartlyLeavesFlatPlanesOut(t *testing.T) {
	t.Parallel()
	const house = `{"mark":"A","outline":[["0'","8'"],["40'","8'"],["40'","24'"],["0'","24'"]],"pitch":"6/12","falls_deg":180,"eave_height":"12'"}`
	const porch = `{"mark":"porch","outline":[["0'","0'"],["40'","0'"],["40'","8'"],["0'","8'"]],"pitch":"1/12","falls_deg":180,"eave_height":"9'"}`
	a := shipped(t, "flat-clip")
	alone, err := takeoff.Of(read(t, `{"name":"House","planes":[`+house+`]}`), a)
	if err != nil {
		t.Fatal(err)
	}
	both := read(t, `{"name":"House","planes":[`+house+`,`+porch+`]}`)
	if _, err := takeoff.Of(both, a); events.RefusalIn(err) == nil || events.RefusalIn(err).Code != "too-flat" {
		t.Errorf("the whole of it: %v", err)
	}
	e, err := takeoff.Partly(both, a, takeoff.Layout{})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]events.Place{"porch"}, e.TooFlat); d != "" || !strings.HasPrefix(e.Notes[0], "INCOMPLETE: plane porch, 321 sqft of it, has a pitch of 1/12") {
		t.Errorf("%s %q", d, e.Notes)
	}
	panels := func(e *takeoff.Estimate) (all []quantity.Length) {
		for _, p := range e.Planes {
			for _, panel := range p.Panels {
				all = append(all, panel.Length)
			}
		}
		return all
	}
	if d := cmp.Diff(panels(alone), panels(e)); d != "" {
		t.Errorf("panels (-alone +partly):\n%s", d)
	}
	var text, order strings.Builder
	if err := e.WriteText(&text); err != nil {
		t.Fatal(err)
	}
	if err := e.WriteCSV(&order); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text.String(), "INCOMPLETE") || !strings.Contains(order.String(), "INCOMPLETE") {
		t.Error("a sheet does not say that it is not whole")
	}
	if _, err := takeoff.Partly(read(t, `{"name":"Porch","planes":[`+porch+`]}`), a, takeoff.Layout{}); events.RefusalIn(err) == nil {
		t.Errorf("all of it too flat: %v", err)
	}
	if whole, err := takeoff.Partly(read(t, `{"name":"House","planes":[`+house+`]}`), a, takeoff.Layout{}); err != nil || len(whole.TooFlat) != 0 || len(whole.Notes) != len(alone.Notes) {
		t.Errorf("a roof that is steep enough: %v", err)
	}
}
