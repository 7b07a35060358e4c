package cutplan

import (
	"strconv"

	"bydark/events/quantity"
)

// Measure is a length in an answer: a string with its unit, or a plain number when the request had plain numbers.
type Measure struct {
	N     int64
	Plain bool
}

// String is the length as people read it.
func (m Measure) String() string {
	if m.Plain {
		return strconv.FormatInt(m.N, 10)
	}
	return quantity.Length(m.N).String()
}

// MarshalJSON writes a plain number bare and a length as a string.
func (m Measure) MarshalJSON() ([]byte, error) {
	if m.Plain {
		return strconv.AppendInt(nil, m.N, 10), nil
	}
	return []byte(strconv.Quote(quantity.Length(m.N).String())), nil
}
