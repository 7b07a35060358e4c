package roof_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// F51: whatever comes in is a roof that keeps its laws and reads back as written, or a
// refusal that says where and what would be right.
func FuzzRead(f *testing.F) {
	for _, s := range []string{gable, ell, tee, gambrel, step, `{}`, `{"planes":[{"mark":"A","outline":[["0'","0'"],["9'","0'"],["9'","9'"],["0'","9'"]],"pitch":"6/12","falls_deg":180,"openings":[[["1'","1'"],["2'","1'"],["2'","2'"]]],"opening_kinds":["skylight"],"pipes":[{"at":["5'","5'"],"diameter":"3 in"}]}]}`, `{"planes":[{}]}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := roof.Read(data)
		if err != nil {
			if refusal, ok := errors.AsType[*roof.Refusal](err); !ok || refusal.Where == "" || refusal.Want == "" {
				t.Fatalf("refused without place or remedy: %v", err)
			}
			return
		}
		var sheds, leaves quantity.Area
		for _, e := range r.Edges {
			sheds, leaves = sheds+e.Sheds, leaves+e.Leaves
		}
		if whole := r.PlanArea(); sheds != whole || leaves != whole {
			t.Fatalf("roof of %v sheds %v, %v leaves", whole, sheds, leaves)
		}
		first, err := roof.Write(r)
		if err != nil {
			t.Fatal(err)
		}
		again, err := roof.Read(first)
		if err != nil {
			t.Fatalf("what was written is refused: %v\n%s", err, first)
		}
		if second, err := roof.Write(again); err != nil || !bytes.Equal(first, second) {
			t.Fatalf("written twice: %v\n%s\n%s", err, first, second)
		}
		if svg := roof.Map(r, roof.MapState{}); len(svg) == 0 {
			t.Fatal("no map")
		}
	})
}

// F51: whatever comes in is a city of roofs that stand, or a refusal.
func FuzzCityBuildings(f *testing.F) {
	data, err := os.ReadFile("../../testdata/roofs/analytic.city.jsonl")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"type":"CityJSON","version":"2.0","transform":{"scale":[1,1,1],"translate":[0,0,0]},"CityObjects":{},"vertices":[]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		buildings, err := roof.CityBuildings(data)
		if err != nil {
			return
		}
		for _, b := range buildings {
			if (b.Roof == nil) == (b.Reason == "") {
				t.Fatalf("%s: roof %v, reason %q", b.ID, b.Roof != nil, b.Reason)
			}
		}
	})
}

// drawnCity is a small city model made of bytes: corners on a half-metre grid, and faces
// that take three to six of them.
func drawnCity(data []byte) string {
	const corners = 8
	if len(data) < 3*corners {
		return ""
	}
	var vertices, faces, values []string
	for i := range corners {
		v := data[3*i:]
		vertices = append(vertices, fmt.Sprintf("[%d,%d,%d]", int(v[0]%32)*500, int(v[1]%32)*500, int(v[2]%32)*250))
	}
	for data = data[3*corners:]; len(data) > 6 && len(faces) < 12; data = data[7:] {
		n := 3 + int(data[0]%4)
		var ring []string
		for _, b := range data[1 : 1+n] {
			ring = append(ring, fmt.Sprint(b%corners))
		}
		faces, values = append(faces, "[["+strings.Join(ring, ",")+"]]"), append(values, "0")
	}
	return fmt.Sprintf(`{"type":"CityJSON","version":"2.0","transform":{"scale":[0.001,0.001,0.001],"translate":[0,0,0]},"vertices":[%s],
"CityObjects":{"b":{"type":"Building","geometry":[{"type":"MultiSurface","lod":"2","boundaries":[%s],"semantics":{"surfaces":[{"type":"RoofSurface"}],"values":[%s]}}]}}}`,
		strings.Join(vertices, ","), strings.Join(faces, ","), strings.Join(values, ","))
}

// F51: whatever faces a building is drawn with, it becomes a roof whose planes are as large as
// their faces, or none, with the reason.
func FuzzCityGeometry(f *testing.F) {
	gable := []byte{0, 0, 8, 20, 0, 8, 20, 10, 16, 0, 10, 16, 20, 20, 8, 0, 20, 8, 10, 5, 20, 30, 30, 0}
	f.Add(append(gable, 1, 0, 1, 2, 3, 0, 0, 1, 3, 2, 4, 5, 0, 0))
	f.Add(append(gable, 1, 0, 1, 2, 3, 0, 0, 0, 3, 2, 6, 0, 0, 0, 2, 1, 4, 5, 3, 0, 2))
	f.Fuzz(func(t *testing.T, data []byte) {
		text := drawnCity(data)
		if text == "" {
			return
		}
		buildings, err := roof.CityBuildings([]byte(text))
		if err != nil || len(buildings) != 1 {
			t.Fatalf("%v, %d buildings of\n%s", err, len(buildings), text)
		}
		b := buildings[0]
		if b.Roof == nil {
			if b.Reason == "" {
				t.Fatalf("no roof and no reason:\n%s", text)
			}
			return
		}
		var sheds quantity.Area
		for _, e := range b.Roof.Edges {
			sheds += e.Sheds
		}
		if sheds != b.Roof.PlanArea() {
			t.Fatalf("a roof of %v sheds %v:\n%s", b.Roof.PlanArea(), sheds, text)
		}
		for _, p := range b.Roof.Planes {
			if len(b.Faces[p.Mark]) == 0 {
				t.Fatalf("plane %s is made of no face:\n%s", p.Mark, text)
			}
		}
		again, err := roof.ImportBuilding([]byte(text), "b")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := roof.Read(again); err != nil {
			t.Fatalf("its own roof file is refused: %v\n%s", err, again)
		}
	})
}
