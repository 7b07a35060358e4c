package roof_test

import (
	"bytes"
	"errors"
	"os"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// Whatever comes in is a roof that keeps its laws and reads back as written, or a
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
