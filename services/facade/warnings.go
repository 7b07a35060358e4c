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
	// Word says in capitals what it is; Alarm that it stands.
	Word  string
	Alarm bool
	At    time.Time
	Told  string
	Why   string
}

// warnings are the warnings of the last day and night, newest first: Now the latest of
// the night and of material, Earlier what they replaced.
type warnings struct{ Now, Earlier []warningLine }

// warningsShown is how long a warning stands on the roof's page; the record has all.
const warningsShown = 24 * time.Hour

// recentWarnings lists them. One of material stands only while the board says that something is short.
func recentWarnings(state *roofjob.State, short []string, names map[events.PersonID]string, now time.Time) warnings {
	var w warnings
	var night, ofMaterial bool // a later one of the sort was seen
	add := func(later *bool, line warningLine) {
		if *later {
			line.Alarm = false
			w.Earlier = append(w.Earlier, line)
			return
		}
		*later = true
		w.Now = append(w.Now, line)
	}
	for _, e := range slices.Backward(state.Warnings()) {
		if now.Sub(e.At) > warningsShown {
			break
		}
		switch b := e.Body.(type) {
		case events.ExposureWarned:
			add(&night, warningLine{"WARNING", true, e.At, toldTo(b.Told, names), b.Why})
		case events.ExposureCleared:
			add(&night, warningLine{"WARNING TAKEN BACK", false, e.At, toldTo(b.Told, names), b.Why})
		case events.ShortageWarned:
			line := warningLine{"SHORT OF MATERIAL", true, e.At, toldTo(b.Told, names), b.Why}
			if len(short) == 0 || !state.Closed().IsZero() {
				ofMaterial = true // it is over, so it stands no more
			}
			add(&ofMaterial, line)
		}
	}
	return w
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
