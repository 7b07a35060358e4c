package windzone_test

import (
	"encoding/json/v2"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bydark/events"
	"bydark/services/windzone"
)

// What comes with the program passes the check that a user's table must pass, and says where it
// was read; what was not checked is never taken unasked.
func TestEditions(t *testing.T) {
	t.Parallel()
	for _, name := range windzone.Editions() {
		table, ok := windzone.Edition(name)
		if !ok || table.Source == "" || table.Basis != windzone.Checked && table.Basis != windzone.Transcribed {
			t.Errorf("%s: %v, %q, %q", name, ok, table.Basis, table.Source)
		}
		if table.Basis == windzone.Transcribed && (table.Missing == "" || !strings.Contains(table.Source, "not in the standard")) {
			t.Errorf("%s does not say what it lacks", name)
		}
		own := table
		own.Basis = ""
		if wrong := (windzone.Choice{Table: &own}).Check(); wrong != nil {
			t.Errorf("%s: %v", name, wrong)
		}
		if wrong := (windzone.Choice{Edition: name}).Check(); wrong != nil {
			t.Errorf("%s: %v", name, wrong)
		}
	}
	if t10 := (windzone.Choice{}).Chosen(); t10.Edition != windzone.Default || t10.Basis != windzone.Checked {
		t.Errorf("unasked, %s is taken, %s", t10.Edition, t10.Basis)
	}
}

// The transcription has points between the ends of its lines, read off the printed figure: ours,
// straight over the logarithm of the area, lie within the reading.
func TestBetweenThePoints(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		edition, shape string
		slope          float64
		zone           string
		area, read     float64
	}{
		{"ASCE 7-16", "gable", 5, "1", 50, -1.4}, {"ASCE 7-16", "hip", 5, "3", 100, -2.13}, {"ASCE 7-22", "gable", 5, "1'", 200, -0.75},
		{"ASCE 7-16", "gable", 15, "3r", 20, -3.05}, {"ASCE 7-16", "gable", 15, "3r", 50, -2.34}, {"ASCE 7-16", "gable", 15, "2n", 20, -2.57},
		{"ASCE 7-16", "gable", 15, "2n", 100, -1.6}, {"ASCE 7-16", "gable", 15, "1", 50, -1.17}, {"ASCE 7-16", "gable", 25, "2e", 100, -1.06},
		{"ASCE 7-16", "gable", 25, "3e", 50, -1.7}, {"ASCE 7-16", "gable", 40, "3e", 10, -2.5}, {"ASCE 7-16", "gable", 40, "2n", 50, -1.45},
		{"ASCE 7-16", "hip", 15, "2e", 50, -1.95}, {"ASCE 7-16", "hip", 25, "1", 20, -1.22},
		{"ASCE 7-22", "gable", 15, "1", 20, -1.7}, {"ASCE 7-22", "gable", 15, "2", 50, -1.75}, {"ASCE 7-22", "gable", 15, "3", 20, -3.05},
		{"ASCE 7-22", "gable", 25, "3", 50, -1.9}, {"ASCE 7-22", "gable", 40, "3", 20, -2.15}, {"ASCE 7-22", "hip", 15, "3", 50, -1.95},
		{"ASCE 7-22", "hip", 25, "2", 20, -1.7}, {"ASCE 7-22", "gable", 25, "1", 100, -0.95},
	} {
		table, _ := windzone.Edition(c.edition)
		r, ok := table.Find(c.shape, c.slope)
		if !ok {
			t.Errorf("%s, %s of %g degrees: nothing", c.edition, c.shape, c.slope)
			continue
		}
		for _, z := range r.Zones {
			if got := windzone.At(z.Up, c.area); z.Zone == c.zone && math.Abs(got-c.read) > 0.06 {
				t.Errorf("%s, %s of %g degrees, zone %s, %g sqft: %.2f, read %.2f", c.edition, c.shape, c.slope, c.zone, c.area, got, c.read)
			}
		}
	}
}

func TestFind(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		edition, shape string
		slope          float64
		figure         string // empty: none
	}{
		{"ASCE 7-10", "gable", 0, "30.4-2A"}, {"ASCE 7-10", "hip", 7, "30.4-2A"}, {"ASCE 7-10", "gable", 7.01, "30.4-2B"}, {"ASCE 7-10", "hip", 27, "30.4-2B"},
		{"ASCE 7-10", "gable", 45, "30.4-2C"}, {"ASCE 7-10", "gable", 45.1, ""}, {"ASCE 7-10", "gable", -1, ""}, {"ASCE 7-10", "gable", math.NaN(), ""},
		{"ASCE 7-16", "gable", 5, "30.3-2A"}, {"ASCE 7-16", "gable", 20, "30.3-2B"}, {"ASCE 7-16", "gable", 20.1, "30.3-2C"}, {"ASCE 7-16", "hip", 20.1, "30.3-2G"}, {"ASCE 7-16", "hip", 30, ""},
		{"ASCE 7-22", "hip", 26.6, "30.3-2F"}, {"ASCE 7-22", "gable", 26.6, "30.3-2C"},
	} {
		table, _ := windzone.Edition(c.edition)
		if r, ok := table.Find(c.shape, c.slope); ok != (c.figure != "") || r.Figure != c.figure {
			t.Errorf("%s, %s of %g degrees: %q", c.edition, c.shape, c.slope, r.Figure)
		}
	}
}

// By limit: a larger area is never lifted harder, the worst zone never less than the field,
// and outside its points a line is level.
func TestCoefficientsByLimit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		table, _ := windzone.Edition(rapid.SampledFrom(windzone.Editions()).Draw(t, "edition"))
		r := rapid.SampledFrom(table.Roofs).Draw(t, "roof")
		small := rapid.Float64Range(0.1, 1000).Draw(t, "area")
		large := small * rapid.Float64Range(1, 10).Draw(t, "times")
		for _, z := range r.Zones {
			for _, points := range [][]windzone.Point{z.Up, z.Down} {
				if a, b := windzone.At(points, small), windzone.At(points, large); math.Abs(b) > math.Abs(a)+1e-12 {
					t.Fatalf("zone %s: %g at %g sqft, %g at %g", z.Zone, a, small, b, large)
				}
				if windzone.At(points, 0.01) != points[0].GCp || windzone.At(points, 1e6) != points[len(points)-1].GCp {
					t.Fatalf("zone %s is not level outside", z.Zone)
				}
			}
		}
		if field, worst, zone := r.Field(small); field >= 0 || worst > field || zone == "" {
			t.Fatalf("field %g, worst %g in zone %q", field, worst, zone)
		}
	})
}

// 24 in of panel 16 in wide: its width counts, being more than a third of the span; at 5 ft
// a third of the span does.
func TestEffectiveArea(t *testing.T) {
	t.Parallel()
	if got := windzone.EffectiveAreaFt2(2, 16.0/12); math.Abs(got-2*16.0/12) > 1e-12 {
		t.Errorf("%g sqft", got)
	}
	if got := windzone.EffectiveAreaFt2(5, 16.0/12); math.Abs(got-25.0/3) > 1e-12 {
		t.Errorf("%g sqft", got)
	}
}

const own = `{"table":{"edition":"House rule 1","source":"our engineer","roofs":[{"shape":"any","above_deg":0,"to_deg":90,"figure":"sheet 4",` +
	`"zones":[{"zone":"1","up":[{"area_sqft":10,"gcp":-1.5},{"area_sqft":100,"gcp":-0.8}],"down":[{"area_sqft":1,"gcp":0.5}]}]}]}}`

// A user's table is read, or refused with the place and what would be right.
func TestOwnTable(t *testing.T) {
	t.Parallel()
	var c windzone.Choice
	if err := json.Unmarshal([]byte(own), &c); err != nil {
		t.Fatal(err)
	}
	if wrong := c.Check(); wrong != nil || c.Chosen().Basis != windzone.Entered {
		t.Fatalf("%v, %q", wrong, c.Chosen().Basis)
	}
	for _, bad := range []struct{ from, to, where string }{
		{`{"table"`, `{"edition":"ASCE 7-16","table"`, "/edition"},
		{`"House rule 1"`, `""`, "/table/edition"},
		{`"our engineer"`, `""`, "/table/source"},
		{`"source"`, `"basis":"checked","source"`, "/table/basis"},
		{`"any"`, `"dome"`, "/table/roofs/0/shape"},
		{`"above_deg":0`, `"above_deg":-1`, "/table/roofs/0/above_deg"},
		{`"to_deg":90`, `"to_deg":0`, "/table/roofs/0/to_deg"},
		{`"to_deg":90`, `"to_deg":91`, "/table/roofs/0/to_deg"},
		{`"sheet 4"`, `""`, "/table/roofs/0/figure"},
		{`"zone":"1"`, `"zone":"2"`, "/table/roofs/0/zones"},
		{`"zone":"1"`, `"zone":""`, "/table/roofs/0/zones/0/zone"},
		{`-1.5`, `1.5`, "/table/roofs/0/zones/0/up/0/gcp"},
		{`-1.5`, `-15`, "/table/roofs/0/zones/0/up/0/gcp"},
		{`-1.5`, `-0.5`, "/table/roofs/0/zones/0/up/1/gcp"},
		{`"area_sqft":10,`, `"area_sqft":0,`, "/table/roofs/0/zones/0/up/0/area_sqft"},
		{`"area_sqft":100`, `"area_sqft":10`, "/table/roofs/0/zones/0/up/1/area_sqft"},
		{`"gcp":0.5`, `"gcp":-0.5`, "/table/roofs/0/zones/0/down/0/gcp"},
		{`[{"area_sqft":1,"gcp":0.5}]`, `[]`, "/table/roofs/0/zones/0/down"},
		{`{"zone":"1","up"`, `{"zone":"1","up":[{"area_sqft":1,"gcp":-1}],"down":[{"area_sqft":1,"gcp":1}]},{"zone":"1","up"`, "/table/roofs/0/zones/1/zone"},
		{`{"shape":"any"`, `{"shape":"hip","above_deg":7,"to_deg":20,"figure":"x","zones":[{"zone":"1","up":[{"area_sqft":1,"gcp":-1}],"down":[{"area_sqft":1,"gcp":1}]}]},{"shape":"any"`, "/table/roofs/1/above_deg"},
	} {
		doc := strings.Replace(own, bad.from, bad.to, 1)
		var c windzone.Choice
		if err := json.Unmarshal([]byte(doc), &c); doc == own || err != nil {
			t.Fatal(bad, err)
		}
		var r *events.Refusal = c.Check()
		if r == nil || r.Where != bad.where || r.Want == "" || r.Code != windzone.CodeBad {
			t.Errorf("%s -> %s: %+v, want it at %s", bad.from, bad.to, r, bad.where)
		}
	}
	if r := (windzone.Choice{}).Check(); r == nil || r.Where != "/edition" || !strings.Contains(r.Want, "ASCE 7-22") {
		t.Errorf("a choice of nothing: %+v", r)
	}
}
