package roof

import (
	"bytes"
	"fmt"
)

// IsCity tells whether data looks like a city model, JSON, and not like a sheet of
// hand-measured planes.
func IsCity(data []byte) bool {
	return bytes.HasPrefix(bytes.TrimLeft(data, " \t\r\n\ufeff"), []byte("{"))
}

// ImportBuilding gives one building of a city model as a roof file. It refuses with a
// *Refusal an ID that the file has not, and a building that is no roof, with the
// reason; and a file as CityBuildings does.
func ImportBuilding(data []byte, id string) ([]byte, error) {
	found, err := readCity(data)
	if err != nil {
		return nil, err
	}
	for i := range found {
		if found[i].id != id {
			continue
		}
		b := found[i].building()
		if b.Roof == nil {
			return nil, &Refusal{Code: "no-roof", Where: fmt.Sprintf("building %s", clip(id)), Was: b.Reason, Want: "a building whose roof faces are flat, beside each other, and some of them sloped"}
		}
		return Write(b.Roof)
	}
	return nil, &Refusal{Code: "no-such-building", Where: "CityJSON file", Was: fmt.Sprintf("%q among %d buildings", clip(id), len(found)), Want: "the id of a building in the file; without one, all are listed"}
}

// ImportList gives a line for each building of a city model.
func ImportList(data []byte) ([]BuildingLine, error) {
	found, err := readCity(data)
	if err != nil {
		return nil, err
	}
	lines := make([]BuildingLine, 0, len(found))
	for i := range found {
		b := found[i].building()
		lines = append(lines, b.Line())
		found[i] = cityBuilding{} // a city's worth of roofs is not kept for its list
	}
	return lines, nil
}
