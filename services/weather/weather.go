// Package weather holds what the sky does to an open roof: the sun's times, rain that
// falls, runs and is driven, wind on what is loose, heat, dew and frost; and it reads
// forecast documents.
//
// Every formula is a pure function in SI units inside, its source in its comment. The
// figures are an aid: the tested system's data, the local code and the licensed
// engineer or competent person decide.
package weather

import (
	"strings"

	"bydark/events"
)

// Codes of the refusals of this package. A refusal is an *events.Refusal; nothing of a
// refused input is used.
const (
	CodeUnreadable = "unreadable"   // not the format it should be, or cut off
	CodeTooLarge   = "too-large"    // more bytes, hours or intervals than any forecast has
	CodeOutOfRange = "out-of-range" // a number that cannot be
	CodeUnknown    = "unknown"      // a name, unit or kind of document that is not known
	CodeNothing    = "nothing-in-it"
	CodeZoneLeap   = "zone-leap" // the clock changes in the middle of the document
	CodeDoubled    = "doubled"   // two rows or members say the same thing
	CodeElsewhere  = "elsewhere" // for another place than the roof's
	CodePast       = "past"      // all of it is over
)

func refuse(code, where, was, want string) *events.Refusal {
	return &events.Refusal{Code: code, Where: where, Was: clip(was), Want: want}
}

// clip keeps a stranger's text short enough for one line.
func clip(s string) string {
	const most = 80
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}
