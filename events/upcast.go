package events

import "fmt"

// upcasters lifts stored bodies to the version after theirs, by the wire name of the
// old version. An old version's name stays here for ever, and one stored sample of it
// stays in testdata.
var upcasters = map[string]upcaster{}

// upcaster turns the JSON of one version into that of the next, whose wire name it
// gives.
type upcaster struct {
	next string
	lift func(data []byte) ([]byte, error)
}

// current follows the upcasters from a wire name to the catalogue's own version.
func current(rows []row, lifts map[string]upcaster, wire string, data []byte) (row, []byte, error) {
	for range len(lifts) + 1 {
		for _, r := range rows {
			if r.wire() == wire {
				return r, data, nil
			}
		}
		up, ok := lifts[wire]
		if !ok {
			break
		}
		lifted, err := up.lift(data)
		if err != nil {
			return row{}, nil, fmt.Errorf("lift %s to %s: %w", wire, up.next, err)
		}
		wire, data = up.next, lifted
	}
	return row{}, nil, fmt.Errorf("%w: %s", ErrUnknownType, wire)
}
