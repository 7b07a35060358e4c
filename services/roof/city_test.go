package roof_test

import (
	"os"
	"testing"

	"bydark/services/roof"
)

func TestCityStats(t *testing.T) {
	for _, name := range []string{"analytic", "3dbag_2024_delft", "3dbag_901", "vienna", "zurich", "3dbag_5908"} {
		data, err := os.ReadFile("../../testdata/roofs/" + name + ".city.jsonl")
		if err != nil {
			t.Fatal(err)
		}
		bs, err := roof.CityBuildings(data)
		if err != nil {
			t.Fatal(err)
		}
		ok := 0
		for _, b := range bs {
			if b.Roof != nil {
				ok++
			} else {
				t.Logf("%s %s: %s", name, b.ID, b.Reason)
			}
		}
		t.Logf("%s: %d of %d", name, ok, len(bs))
	}
}
