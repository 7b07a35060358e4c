package takeoff_test

import (
	"fmt"
	"testing"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

const gable = `{"name":"Gable","planes":[
 {"mark":"A","outline":[["0'","0'"],["40'","0'"],["40'","12'"],["0'","12'"]],"pitch":%q,"falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["0'","12'"],["40'","12'"],["40'","24'"],["0'","24'"]],"pitch":%q,"falls_deg":0,"eave_height":"10'"}]}`

func reckon(t *testing.T, doc, name string) (*takeoff.Estimate, error) {
	t.Helper()
	r, err := roof.Read([]byte(doc))
	if err != nil {
		t.Fatal(err)
	}
	text, err := assembly.Document(name)
	if err != nil {
		t.Fatal(err)
	}
	a, err := assembly.Read(text)
	if err != nil {
		t.Fatal(err)
	}
	return takeoff.Of(r, a)
}

// A 40 by 24 ft gable at 6/12: each plane is 40 ft by 12 ft × √1.25 = 13.4164 ft
// (framing square, 13.42 in per foot of run), 536.66 sqft; 16 in panels: 30 strips.
func TestGableByHand(t *testing.T) {
	t.Parallel()
	e, err := reckon(t, fmt.Sprintf(gable, "6/12", "6/12"), "flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range e.Planes {
		if len(p.Panels) != 30 || p.Area.SquareFeet() < 536.65 || p.Area.SquareFeet() > 536.67 {
			t.Errorf("plane %s: %d panels on %.3f sqft", p.Mark, len(p.Panels), p.Area.SquareFeet())
		}
		var cover quantity.Area
		for _, panel := range p.Panels {
			cover += panel.Area
			// 13.4164 ft = 160.997 in; eave turn +1 in, ridge -1 in: up to 161 in.
			if panel.Length != 161*quantity.Inch || panel.LowEnd != "square" || panel.HighEdge != "ridge-1" {
				t.Errorf("%s is %v long, low end %s, high edge %s", panel.Mark, panel.Length, panel.LowEnd, panel.HighEdge)
			}
		}
		if d := cover - p.Area; d > 100 || d < -100 {
			t.Errorf("plane %s: panels cover %v of %v", p.Mark, cover, p.Area)
		}
	}
	if got := e.Extent("ridge-1", "cap"); got != quantity.OfLength(40*quantity.Foot) {
		t.Errorf("the ridge's cap is %v", got)
	}
	if got := e.Extent("A", "panels"); got != quantity.Pieces(30) {
		t.Errorf("plane A takes %v panels", got)
	}
	if got := e.Extent("A", "felt"); got.Area() != e.Planes[0].Area {
		t.Errorf("plane A takes %v of felt", got)
	}
	for _, want := range []struct {
		place events.Place
		step  events.StepID
		id    events.MaterialID
		net   string
	}{
		{"eave-1", "eave-trim", "eave-trim", "40'"},
		{"eave-1", "eave-trim", "trim-screw", "21 each"}, // 40' at 24" and one at the end
		{"ridge-1", "closures", "z-closure", "80'"},
		{"ridge-1", "closures", "trim-screw", "240 each"}, // 60 panel ends of 16": 4 each
		{"ridge-1", "cap", "splice", "3 each"},            // 4 lengths of 10' butted: 3 joints
		{"eave-1", "ice-barrier", "ice-barrier", "240 sqft"},
	} {
		found := false
		for _, d := range e.Demands {
			if d.Place == want.place && d.Step == want.step && d.Material == want.id {
				found = true
				if d.Net.String() != want.net || d.Basis == "" {
					t.Errorf("%s %s %s: %v (%s), want %s", want.place, want.step, want.id, d.Net, d.Basis, want.net)
				}
			}
		}
		if !found {
			t.Errorf("no %s for %s at %s", want.id, want.step, want.place)
		}
	}
	for _, l := range e.Lines {
		if sum, err := l.Net.Add(l.Waste); err != nil || sum != l.Order || l.Waste.Sign() < 0 || l.Basis == "" {
			t.Errorf("%s: net %v and waste %v are not %v", l.Material, l.Net, l.Waste, l.Order)
		}
	}
}

// A hip roof of one slope has the area of the gable over the same plan (geometry),
// and a hip panel steps by the cover width times the slope: 16 in at 8/12 is 19.23 in
// (framing square, difference in length of jacks, 16 in centres).
func TestHipPanels(t *testing.T) {
	t.Parallel()
	e, err := reckon(t, `{"name":"Hip","planes":[
 {"mark":"A","outline":[["0'","0'"],["40'","0'"],["28'","12'"],["12'","12'"]],"pitch":"8/12","falls_deg":180,"eave_height":"10'"},
 {"mark":"B","outline":[["40'","0'"],["40'","24'"],["28'","12'"]],"pitch":"8/12","falls_deg":90,"eave_height":"10'"},
 {"mark":"C","outline":[["40'","24'"],["0'","24'"],["12'","12'"],["28'","12'"]],"pitch":"8/12","falls_deg":0,"eave_height":"10'"},
 {"mark":"D","outline":[["0'","24'"],["0'","0'"],["12'","12'"]],"pitch":"8/12","falls_deg":270,"eave_height":"10'"}]}`, "flat-clip")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range e.Planes {
		var cover quantity.Area
		for i, panel := range p.Panels {
			cover += panel.Area
			if panel.HighEdge == "" || panel.LowEdge == "" {
				t.Errorf("%s ends nowhere", panel.Mark)
			}
			if p.Mark == "A" && i > 0 && i < 8 {
				if step := (panel.Length - p.Panels[i-1].Length).Inches(); step < 19.16 || step > 19.3 {
					t.Errorf("%s is %.3f in longer than the one before; 19.23 expected", panel.Mark, step)
				}
			}
		}
		if d := cover - p.Area; d > 1000 || d < -1000 {
			t.Errorf("plane %s: panels cover %v of %v", p.Mark, cover, p.Area)
		}
	}
}

func TestTooFlatIsRefused(t *testing.T) {
	t.Parallel()
	// IRC R905.10.2: 3/12 for lapped, non-soldered seams without sealant.
	_, err := reckon(t, fmt.Sprintf(gable, "2/12", "2/12"), "flat-clip")
	if r := events.RefusalIn(err); r == nil || r.Code != "too-flat" || r.Where != "plane A" {
		t.Errorf("2/12 gave %v", err)
	}
	if _, err := reckon(t, fmt.Sprintf(gable, "1/4", "3/12"), "flat-clip"); err != nil {
		t.Errorf("3/12 gave %v", err)
	}
}

func BenchmarkOf(b *testing.B) {
	r, err := roof.Read(fmt.Appendf(nil, gable, "6/12", "6/12"))
	if err != nil {
		b.Fatal(err)
	}
	text, err := assembly.Document("flat-clip")
	if err != nil {
		b.Fatal(err)
	}
	a, err := assembly.Read(text)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := takeoff.Of(r, a); err != nil {
			b.Fatal(err)
		}
	}
}
