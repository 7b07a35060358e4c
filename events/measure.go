package events

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"
)

// What a measure can be of.
const (
	// OfLength is an edge's length along the metal: one value.
	OfLength = "length"
	// OfSlopeLength is a plane's length from eave to ridge along the slope: one.
	OfSlopeLength = "slope-length"
	// OfDiagonals is both diagonals of a plane or of a laid-out rectangle: two.
	OfDiagonals = "diagonals"
	// OfThreeFourFive is both legs and the diagonal of a right angle: three.
	OfThreeFourFive = "three-four-five"
	// OfSpacing is distances between fasteners or clips: one or more.
	OfSpacing = "spacing"
	// OfGap is a gap left for the metal to move: one or more.
	OfGap = "gap"
	// OfSlope is a pitch, rise over run: one or more.
	OfSlope = "slope"
	// OfMoisture is the deck's moisture in percent by weight: one or more.
	OfMoisture = "moisture"
)

// Measures lists what a measure can be of.
func Measures() []string {
	return []string{
		OfLength, OfSlopeLength, OfDiagonals, OfThreeFourFive, OfSpacing, OfGap, OfSlope, OfMoisture,
	}
}

// Reading is one measured value as it was said: a length or a pitch with its unit,
// or a percentage, which may also come as a plain number.
type Reading string

// UnmarshalJSONFrom takes a string, or a number for its digits.
func (r *Reading) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	switch d.PeekKind() {
	case '"':
		return json.UnmarshalDecode(d, (*string)(r))
	case '0':
		v, err := d.ReadValue()
		*r = Reading(v)
		return err
	default:
		v, err := d.ReadValue()
		if err != nil {
			return err
		}
		return fmt.Errorf(`%s is no reading; want a string such as "12'-6 3/8\""`, v)
	}
}

// MeasureTaken is what somebody measured: a lead's or a hand's report. It changes no
// work; it moves the estimate, and raises a flag where it is out of tolerance.
type MeasureTaken struct {
	Where  Place     `json:"where"`
	Of     string    `json:"of"`
	Values []Reading `json:"values"`
	// MetalTempC is the metal's temperature in Celsius, where a gap was measured.
	MetalTempC *float64 `json:"metal_temp_c,omitempty"`
}

func (MeasureTaken) fact() {}
