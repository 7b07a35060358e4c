package watch

import (
	"fmt"
	"slices"

	"bydark/events"
)

// A cover keeps out only a share, and what comes in past it counts with the rest. But a
// covered place is closed as well as a cover can: by itself it is told once a night, in its
// last hour, and never as a missed deadline.

// sum is what gets in at the places whose water counts, open or under covers.
func (c *call) sum() float64 {
	return litres(c.counted(c.Standing, c.now)) + litres(c.past(c.Standing, c.now))
}

// onlyCovers tells whether what was warned of last was water past covers and no more.
func (c *call) onlyCovers() bool {
	return c.last != nil && len(c.last.Open) == 0 && c.last.Cause != events.Alarm
}

// seeps tells whether covers are what is to be decided on, where nothing is open.
func (c *call) seeps() bool {
	return len(c.Under) > 0 && (!c.active || c.onlyCovers())
}

// pastDue tells whether what comes in past the covers that lie is to be told: nothing was told
// of this night yet, and it is its last hour.
func (c *call) pastDue() bool {
	last := c.Before[len(c.Before)-1]
	return c.last == nil && !c.now.Before(c.LeaveBy.Add(-last)) && c.now.Before(c.Dark) && litres(c.unaccepted(c.Under)) >= c.From
}

// covers names what water comes past.
func covers(past []Place) string {
	wet := slices.DeleteFunc(slices.Clone(past), func(p Place) bool { return p.Litres == 0 })
	if len(wet) == 1 {
		return "the cover of " + string(wet[0].Where)
	}
	return "the covers of " + list(marks(wet))
}

// stillPast is a sentence on what comes in past covers where nothing else is told; empty where
// nothing does.
func (c *call) stillPast() string {
	if up(litres(c.Under)) == 0 {
		return ""
	}
	return fmt.Sprintf(" Past %s %d l would still get in by %s.", covers(c.Under), up(litres(c.Under)), c.at(c.Start))
}

// elsewhere is what lets water in besides some of the open places.
func (c *call) elsewhere(told []Place) []Place {
	rest := slices.DeleteFunc(slices.Clone(c.Open), func(p Place) bool {
		return slices.ContainsFunc(told, func(t Place) bool { return t.Where == p.Where })
	})
	return append(rest, c.Under...)
}

// besides is what gets in at places beside those that were told; empty where nothing does.
func (c *call) besides(places []Place) string {
	var parts []string
	for _, p := range places {
		if up(p.Litres) == 0 {
			continue
		}
		text := fmt.Sprintf("%d l through %s", up(p.Litres), p.Where)
		if slices.ContainsFunc(c.Under, func(u Place) bool { return u.Where == p.Where }) {
			text = fmt.Sprintf("%d l past the cover of %s", up(p.Litres), p.Where)
		}
		if len(c.unaccepted([]Place{p})) == 0 {
			text += ", which was accepted"
		}
		parts = append(parts, text)
	}
	if len(parts) == 0 {
		return ""
	}
	return "; besides " + list(parts)
}
