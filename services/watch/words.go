package watch

import (
	"fmt"
	"slices"
	"strings"
	"time"
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
	fmt.Fprintf(&b, ", %s open (%s)", number(len(c.Open), "place is", "places are"), list(marks(c.Open)))
	switch {
	case !c.Crew:
		b.WriteString(", and no day is under way")
	case c.now.Before(c.LeaveBy):
		fmt.Fprintf(&b, ", and in %d minutes the plan does not close %s%s", c.MinutesLeft, list(marks(counted)), reasons(counted))
	}
	b.WriteString(": " + c.wet(counted) + ".")
	return b.String()
}

// missedWords is why a missed deadline is told.
func (c *call) missedWords(nobodys []Place) string {
	return fmt.Sprintf("It has been dark since %s and %s open (%s), which nobody has accepted: %s.",
		c.at(c.Dark), number(len(nobodys), "place is", "places are"), list(marks(nobodys)), c.wet(nobodys))
}

// betterWords is why a warning is taken back while something is open.
func (c *call) betterWords(sum float64) string {
	return fmt.Sprintf("%d l instead of %d l would get in by %s with %s, less than the %g l that end a warning.",
		up(sum), c.last.LeftLitres, c.at(c.Start), c.rain(), c.Below)
}

// acceptedWords is why a warning is taken back when somebody takes what is open upon them.
func (c *call) acceptedWords() string {
	return c.By + " accepts that " + list(marks(c.Open)) + " stays open."
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

// wet is what gets in at places.
func (c *call) wet(places []Place) string {
	return fmt.Sprintf("%d l would get in by %s with %s, and %d l if it rains", up(litres(places)), c.at(c.Start), c.rain(), up(ifRain(places)))
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
