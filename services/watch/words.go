package watch

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bydark/events"
)

// waterWords is why a warning by litres is told.
func (c *call) waterWords(counted []Place) string {
	var b strings.Builder
	switch left := c.LeaveBy.Sub(c.now); {
	case left > 0:
		fmt.Fprintf(&b, "%s before leave-by %s", span(left), c.at(c.LeaveBy))
	default:
		fmt.Fprintf(&b, "Leave-by %s has passed", c.at(c.LeaveBy))
	}
	if len(c.Open) == 0 {
		fmt.Fprintf(&b, ", nothing is open and %s under a cover (%s)", number(len(c.Under), "place lies", "places lie"), list(marks(c.Under)))
	} else {
		fmt.Fprintf(&b, ", %s open (%s)", number(len(c.Open), "place is", "places are"), list(marks(c.Open)))
	}
	switch {
	case !c.Crew:
		b.WriteString(", and no day is under way")
	case len(c.Open) == 0:
	case c.now.Before(c.LeaveBy) && len(counted) == 0:
		fmt.Fprintf(&b, ", and in %d minutes the plan closes or covers all of it", c.MinutesLeft)
	case c.now.Before(c.LeaveBy):
		fmt.Fprintf(&b, ", and in %d minutes the plan does not close %s%s", c.MinutesLeft, list(marks(counted)), reasons(counted))
	}
	b.WriteString(": " + c.wet(counted, c.past(c.Standing, c.now)) + ".")
	return b.String()
}

// missedWords is why a missed deadline is told.
func (c *call) missedWords(nobodys []Place) string {
	return fmt.Sprintf("It has been dark since %s and %s open (%s), which nobody has accepted: %s%s.",
		c.at(c.Dark), number(len(nobodys), "place is", "places are"), list(marks(nobodys)), c.wet(nobodys, nil), c.besides(c.elsewhere(nobodys)))
}

// betterWords is why a warning is taken back while something is open.
func (c *call) betterWords(sum float64) string {
	was := c.last.LeftLitres
	if c.last.Cause == events.Cover {
		was = c.last.OpenLitres
	}
	instead := ""
	if up(sum) < was {
		instead = fmt.Sprintf(" instead of %d l", was)
	}
	return fmt.Sprintf("%d l%s would get in by %s with %s, less than the %g l that end a warning.",
		up(sum), instead, c.at(c.Start), c.rain(), c.Below)
}

// acceptedWords is why a warning is taken back when somebody takes what is open upon them.
func (c *call) acceptedWords() string {
	if len(c.Open) == 0 {
		return c.By + " accepts that " + list(marks(c.Under)) + " stays as it is under its cover." + c.stillPast()
	}
	return c.By + " accepts that " + list(marks(c.Open)) + " stays open." + c.stillPast()
}

// rain is the night's rain, and what of it nobody forecast.
func (c *call) rain() string {
	switch {
	case c.UnknownHours > 0 && c.Forecast == 0:
		return fmt.Sprintf("%.1f mm of rain, assumed because there is no forecast", c.RainMM)
	case c.UnknownHours > 0:
		return fmt.Sprintf("%.1f mm of rain, some of it assumed because %s not forecast", c.RainMM, number(c.UnknownHours, "hour is", "hours are"))
	}
	return fmt.Sprintf("%.1f mm of rain forecast", c.RainMM)
}

// wet is what gets in at places, and past covers at others.
func (c *call) wet(places, past []Place) string {
	text := fmt.Sprintf("%d l would get in by %s with %s, and %d l if it rains", up(litres(places)+litres(past)), c.at(c.Start), c.rain(), up(ifRain(places)+ifRain(past)))
	switch {
	case up(litres(past)) == 0:
		return text
	case up(litres(places)) == 0:
		return text + "; all of it past " + covers(past)
	}
	return fmt.Sprintf("%s; of it %d l past %s", text, up(litres(past)), covers(past))
}

// span is a time in hours and minutes, rounded to the minute.
func span(d time.Duration) string {
	d = d.Round(time.Minute)
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// reasons are why the plan does not close places, each once.
func reasons(places []Place) string {
	var all []string
	for _, p := range places {
		if p.Why != "" && !slices.Contains(all, p.Why) {
			all = append(all, p.Why)
		}
	}
	if len(all) == 0 {
		return ""
	}
	return " (" + list(all) + ")"
}

func number(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

func list[T ~string](words []T) string {
	const most = 8
	parts := make([]string, 0, most+1)
	for i, w := range words {
		if i == most {
			parts = append(parts, fmt.Sprintf("%d more", len(words)-most))
			break
		}
		parts = append(parts, string(w))
	}
	return strings.Join(parts, ", ")
}
