package roofjob

import (
	"fmt"

	"bydark/events"
	"bydark/services/takeoff"
)

// sheet is an estimate and what it is of, so that it can be made again where only that
// was kept.
type sheet struct {
	roofDoc, buildDoc []byte
	measures          []events.MeasureTaken
	estimate          *takeoff.Estimate // nil until somebody asks
}

func (s *sheet) isBlank() bool { return s.estimate == nil && len(s.roofDoc) == 0 }

// read is the estimate; nil of a blank sheet.
func (s *sheet) read(d *drawings) *takeoff.Estimate {
	if s.estimate != nil || s.isBlank() {
		return s.estimate
	}
	drawn, err := d.of(s.roofDoc, s.buildDoc)
	if err == nil {
		var now taped
		if now, err = d.measured(drawn, s.measures); err == nil {
			s.estimate = now.drawing.estimate
			return s.estimate
		}
	}
	panic(fmt.Sprintf("roofjob: documents that were read cannot be read again: %v", err))
}
