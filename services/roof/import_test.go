package roof_test

import (
	"errors"
	"os"
	"testing"

	"bydark/services/roof"
)

// Every building that a list shows comes out as a roof file of the same roof.
func TestListedBuildingsComeOutAsRoofFiles(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"analytic", "3dbag_901", "zurich"} {
		data, err := os.ReadFile("../../testdata/roofs/" + name + ".city.jsonl")
		if err != nil {
			t.Fatal(err)
		}
		lines, err := roof.ImportList(data)
		if err != nil || len(lines) == 0 {
			t.Fatal(err)
		}
		for _, line := range lines {
			file, err := roof.ImportBuilding(data, line.ID)
			if refusal, ok := errors.AsType[*roof.Refusal](err); line.Skipped && (!ok || refusal.Was != line.Reason) {
				t.Errorf("%s was skipped for %s, and came out with %v", line.ID, line.Reason, err)
			}
			if line.Skipped {
				continue
			}
			if err != nil {
				t.Errorf("%s: %v", line.ID, err)
				continue
			}
			r := read(t, string(file))
			again := roof.Building{ID: line.ID, Roof: r}
			if got := again.Line(); got.Planes != line.Planes || got.AreaM2 != line.AreaM2 || len(got.Edges) != len(line.Edges) {
				t.Errorf("%s came out as %+v, listed as %+v", line.ID, got, line)
			}
			for kind, n := range line.Edges {
				if got := again.Line().Edges[kind]; got != n {
					t.Errorf("%s came out with %d of %s, listed with %d", line.ID, got, kind, n)
				}
			}
		}
		if _, err := roof.ImportBuilding(data, "nobody"); err == nil {
			t.Error("a building came out that is not there")
		}
	}
	if roof.IsCity([]byte(sheet)) || !roof.IsCity([]byte(" \n{}")) {
		t.Error("a sheet and a city model are taken for each other")
	}
}
