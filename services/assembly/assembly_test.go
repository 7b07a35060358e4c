package assembly_test

import (
	"bytes"
	"encoding/json/v2"
	"reflect"
	"strings"
	"testing"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

func shipped(t *testing.T, name string) (*assembly.Assembly, []byte) {
	t.Helper()
	doc, err := assembly.Document(name)
	if err != nil {
		t.Fatal(err)
	}
	a, err := assembly.Read(doc)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return a, doc
}

func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(assembly.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("assembly.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("assembly.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestShippedAssembliesReadAndFitTheSchema(t *testing.T) {
	t.Parallel()
	schema := compiled(t)
	if got := assembly.Shipped(); len(got) != 3 {
		t.Fatalf("shipped: %v", got)
	}
	for _, name := range assembly.Shipped() {
		a, doc := shipped(t, name)
		if a.Name != name || a.Title == "" || len(a.Notes) == 0 {
			t.Errorf("%s calls itself %q, %q, with %d notes", name, a.Name, a.Title, len(a.Notes))
		}
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(doc))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(v); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The trade's common practice, as the brief of the job gives it: no published source
// stands behind these rows, so the data says common practice too.
func TestShippedAssembliesEncodeCommonPractice(t *testing.T) {
	t.Parallel()
	flat, _ := shipped(t, "flat-clip")
	ids := func(steps []assembly.Step) string {
		var b strings.Builder
		for _, s := range steps {
			b.WriteString(string(s.ID) + " ")
		}
		return b.String()
	}
	for kind, want := range map[string]string{
		"eave": "ice-barrier eave-trim eave-turn ", "rake": "starter-cleat z-closure rake-trim ",
		"valley": "ice-barrier valley-metal offset-cleats valley-hook ", "ridge": "closures foam cap ", "hip": "closures foam cap ",
		assembly.PlaneKind: "deck-check felt slip-sheet panels ",
	} {
		if got := ids(flat.Steps(kind)); got != want {
			t.Errorf("%s steps are %q, want %q", kind, got, want)
		}
	}
	for _, name := range []string{"raised-clip-vented", "raised-clip-purlins"} {
		a, _ := shipped(t, name)
		if strings.Contains(ids(a.Plane), "slip-sheet") {
			t.Errorf("%s lays a slip sheet under raised clips", name)
		}
	}
	for _, s := range flat.Plane {
		for _, u := range s.Uses {
			if u.Per == assembly.PerClip {
				c := u.Clips
				if c.Rake != 12*quantity.Inch || c.Field != 24*quantity.Inch || c.FirstPanels != 3 || c.FromEave < 4*quantity.Inch || c.FromEave > 6*quantity.Inch {
					t.Errorf("clips stand %+v", *c)
				}
			}
		}
	}
	if flat.Square != 3*quantity.Inch/2 {
		t.Errorf("square allowance is %v", flat.Square)
	}
}

// The schema and the reader agree on wind zones: an edition by name, or a table, or neither.
func TestWindFitsTheSchema(t *testing.T) {
	t.Parallel()
	schema := compiled(t)
	_, doc := shipped(t, "flat-clip")
	const zones = `[{"zone":"1","up":[{"area_sqft":10,"gcp":-1.5}],"down":[{"area_sqft":10,"gcp":0.5}]}]`
	table := func(shape string) string {
		return `{"table":{"edition":"x","source":"y","roofs":[{"shape":"` + shape + `","above_deg":0,"to_deg":90,"figure":"z","zones":` + zones + `}]}}`
	}
	for choice, fits := range map[string]bool{
		`{"edition":"ASCE 7-10"}`: true, `{"edition":"ASCE 7-16"}`: true, `{"edition":"ASCE 7-22"}`: true, `{"edition":"ASCE 7-98"}`: false, `{}`: false,
		table("gable"): true, table("any"): true, table("dome"): false, `{"edition":"ASCE 7-16",` + table("hip")[1:]: false,
	} {
		changed := strings.Replace(string(doc), `"panel": {`, `"wind": `+choice+`, "panel": {`, 1)
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(changed))
		if err != nil {
			t.Fatal(err)
		}
		_, read := assembly.Read([]byte(changed))
		if schema.Validate(v) == nil != fits || (read == nil) != fits {
			t.Errorf("%s: reader says %v, schema says %v", choice, read, schema.Validate(v))
		}
	}
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	_, doc := shipped(t, "flat-clip")
	for _, c := range []struct{ from, to, where string }{
		{`"name": "flat-clip"`, `"name": ""`, "/name"},
		{`"least_pitch": "3/12"`, `"least_pitch": "0/12"`, "/least_pitch"},
		{`"least_pitch": "3/12"`, `"least_pitch": "three"`, "/least_pitch"},
		{`"cover": "16 in"`, `"cover": "16"`, "/panel/cover"},
		{`"cover": "16 in"`, `"cover": "1 in"`, "/panel/cover"},
		{`"metal": "steel"`, `"metal": "lead"`, "/panel/metal"},
		{`"panel": {`, `"wind": {"edition": "ASCE 7-98"}, "panel": {`, "/wind/edition"},
		{`"panel": {`, `"wind": {"table": {"edition": "x", "source": "y", "roofs": []}}, "panel": {`, "/wind/table/roofs"},
		{`"panel": {`, `"wind": {"zone": 3}, "panel": {`, "/wind/zone"},
		{`"unit": "mm"`, `"unit": "ft"`, "/materials/0/unit"},
		{`"valley": {`, `"vale": {`, "/edges/valley"},
		{`"eave-trim"`, `"gutter"`, ""},
		{`"kind": "panels"`, `"kind": "layer"`, "/plane"},
		{`"name"`, `"Name"`, "/Name"},
		{`"blocks": "closeout"`, `"blocks": "never"`, ""},
		{`"per": "area"`, `"per": "strip"`, "/plane/1/uses/0"},
		{`"unit": "mm"`, `"unit": "each"`, "/panel/material"},
		{`"along": "apron"`, `"along": "ridge"`, "/openings/"},
		{`"chimney": {`, `"stack": {`, "/openings/stack"},
		{`"wider_than": "30 in"`, `"wider_than": "-30 in"`, "/openings/"},
		{`"per": "cricket"`, `"per": "square"`, "/openings/chimney/steps/4/uses/0/per"},
		{`"id": "eave-turn"`, `"along": "apron", "id": "eave-turn"`, "/edges/eave/steps/2"},
		{`{`, `[`, ""},
	} {
		bad := strings.Replace(string(doc), c.from, c.to, 1)
		if bad == string(doc) {
			t.Fatalf("%s is not in the document", c.from)
		}
		_, err := assembly.Read([]byte(bad))
		r := events.RefusalIn(err)
		if r == nil || r.Want == "" || !strings.HasPrefix(r.Where, c.where) {
			t.Errorf("%s -> %s gave %+v, want a refusal at %s", c.from, c.to, r, c.where)
		}
	}
	if _, err := assembly.Read(make([]byte, assembly.MaxBytes+1)); events.RefusalIn(err) == nil {
		t.Error("an endless document was read")
	}
}

// Which steps are due follows from what an opening is and how wide: a cricket or saddle
// behind a chimney or penetration more than 30 in wide (IRC R903.2.2, R1003.20), save unit
// skylights. What has no steps of its own is flashed as a curb, but for pipes.
func TestOpeningSteps(t *testing.T) {
	t.Parallel()
	flat, _ := shipped(t, "flat-clip")
	purlins, _ := shipped(t, "raised-clip-purlins")
	bare, _ := shipped(t, "flat-clip")
	delete(bare.Openings, "dormer")
	delete(bare.Openings, "pipe")
	for _, c := range []struct {
		a     *assembly.Assembly
		kind  string
		width quantity.Length
		want  string
	}{
		{flat, "chimney", 30 * quantity.Inch, "membrane apron sides back-pan counterflashing"},
		{flat, "chimney", 31 * quantity.Inch, "membrane apron sides cricket counterflashing"},
		{flat, "curb", 31 * quantity.Inch, "membrane apron sides cricket curb-cap"},
		{flat, "skylight", 48 * quantity.Inch, "membrane apron sides back-pan frame"},
		{flat, "dormer", 96 * quantity.Inch, "membrane apron sides back-pan cladding"},
		{flat, "pipe", 3 * quantity.Inch, "membrane boot"},
		{purlins, "pipe", 3 * quantity.Inch, "boot"},
		{bare, "dormer", 20 * quantity.Inch, "membrane apron sides back-pan curb-cap"},
		{bare, "pipe", 3 * quantity.Inch, ""},
	} {
		var ids []string
		for _, s := range c.a.OpeningSteps(c.kind, c.width) {
			ids = append(ids, string(s.ID))
		}
		if got := strings.Join(ids, " "); got != c.want {
			t.Errorf("%s: %s %v wide: %q, want %q", c.a.Name, c.kind, c.width, got, c.want)
		}
	}
}

func TestMaterialAmounts(t *testing.T) {
	t.Parallel()
	a, _ := shipped(t, "flat-clip")
	for _, c := range []struct{ material, said, want string }{
		{"felt", "3 rolls", "648 sqft"}, {"felt", "0.5 roll", "108 sqft"}, {"felt", "120 sqft", "120 sqft"},
		{"clip", "2 boxes", "200 each"}, {"clip", "7 each", "7 each"}, {"eave-trim", "4 lengths", "40'"}, {"eave-trim", "1 ft", "1'"},
		{"felt", "3 boxes", ""}, {"felt", "40'", ""}, {"clip", "40'", ""}, {"eave-trim", "12 each", ""}, {"felt", "9000000000000 rolls", ""},
	} {
		m, ok := a.Material(events.MaterialID(c.material))
		said, err := quantity.ParseAmount(c.said)
		if !ok || err != nil {
			t.Fatal(c, err)
		}
		got, err := m.Amount(said)
		if c.want == "" {
			if r := events.RefusalIn(err); r == nil || r.Want == "" {
				t.Errorf("%s of %s became %v", c.said, c.material, got)
			}
			continue
		}
		if err != nil || got.String() != c.want {
			t.Errorf("%s of %s is %v, %v; want %s", c.said, c.material, got, err, c.want)
		}
	}
}

// F51: whatever comes in is an assembly or a refusal.
func FuzzRead(f *testing.F) {
	for _, name := range assembly.Shipped() {
		doc, err := assembly.Document(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(doc)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := assembly.Read(data)
		if err != nil {
			if events.RefusalIn(err) == nil {
				t.Fatalf("%v is no refusal", err)
			}
			return
		}
		again, err := json.Marshal(a, json.Deterministic(true))
		if err != nil {
			t.Fatal(err)
		}
		b, err := assembly.Read(again)
		if err != nil {
			t.Fatalf("written again it is refused: %v", err)
		}
		if x, err := json.Marshal(b, json.Deterministic(true)); err != nil || !reflect.DeepEqual(x, again) {
			t.Fatalf("written again it is another: %v", err)
		}
	})
}
