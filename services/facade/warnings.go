package facade

import (
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/services/roofjob"
)

// warningLine is a warning as the roof's page shows it.
type warningLine struct {
	// Word says in capitals what it is; Over that it was taken back or replaced.
	Word string
	Over bool
	At   time.Time
	Told string
	Why  string
}

// warningsShown is how long a warning stands on the roof's page; the record has all.
const warningsShown = 24 * time.Hour

// recentWarnings are the warnings of the last day and night, newest first.
func recentWarnings(state *roofjob.State, names map[events.PersonID]string, now time.Time) []warningLine {
	var lines []warningLine
	nights, shorts := false, false // a later one of the family was seen
	for _, e := range slices.Backward(state.Warnings()) {
		if now.Sub(e.At) > warningsShown {
			break
		}
		switch b := e.Body.(type) {
		case events.ExposureWarned:
			lines = append(lines, warningLine{"WARNING", nights, e.At, toldTo(b.Told, names), b.Why})
			nights = true
		case events.ExposureCleared:
			lines = append(lines, warningLine{"TAKEN BACK", true, e.At, toldTo(b.Told, names), b.Why})
			nights = true
		case events.ShortageWarned:
			lines = append(lines, warningLine{"SHORT OF MATERIAL", shorts, e.At, toldTo(b.Told, names), b.Why})
			shorts = true
		}
	}
	return lines
}

// toldTo names whom a warning was for, by role and name.
func toldTo(all []events.Told, names map[events.PersonID]string) string {
	var parts []string
	for _, t := range all {
		var people []string
		for _, p := range t.People {
			name := names[p]
			if name == "" {
				name = string(p)
			}
			people = append(people, name)
		}
		if len(people) == 0 {
			people = []string{"nobody holds this role"}
		}
		parts = append(parts, string(t.Role)+" ("+strings.Join(people, ", ")+")")
	}
	return strings.Join(parts, "; ")
}
