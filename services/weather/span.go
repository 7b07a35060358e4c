package weather

import (
	"strings"
	"time"
)

// span is a stretch of time, end after start.
type span struct{ start, end time.Time }

func (s span) length() time.Duration { return s.end.Sub(s.start) }

func (s span) overlap(from, to time.Time) time.Duration {
	if s.start.After(from) {
		from = s.start
	}
	if s.end.Before(to) {
		to = s.end
	}
	return max(0, to.Sub(from))
}

const spanWant = "an ISO 8601 interval with its zone, such as 2024-01-08T15:00:00+00:00/PT6H"

// parseSpan reads an ISO 8601 interval: start/duration, start/end or duration/end. The
// word NOW, which the service's description permits in place of a time, is not read: it does not
// say when it was written.
func parseSpan(s string) (span, bool) {
	first, second, ok := strings.Cut(s, "/")
	if !ok || len(s) > 64 {
		return span{}, false
	}
	start, hasStart := moment(first)
	end, hasEnd := moment(second)
	switch {
	case hasStart && hasEnd:
		return span{start, end}, end.After(start)
	case hasStart:
		length, ok := parseDuration(second)
		return span{start, start.Add(length)}, ok
	case hasEnd:
		length, ok := parseDuration(first)
		return span{end.Add(-length), end}, ok
	}
	return span{}, false
}

// moment is a time with its zone, of a plausible year.
func moment(s string) (time.Time, bool) {
	t, err := time.Parse(time.RFC3339, s)
	return t, err == nil && plausibleYear(t)
}

// plausibleYear keeps differences of times inside time.Duration.
func plausibleYear(t time.Time) bool { return t.Year() >= 1900 && t.Year() <= 2200 }

// parseDuration reads an ISO 8601 duration of weeks, days, hours, minutes and seconds,
// above zero and at most a year. Months and years have no fixed length and are refused.
func parseDuration(s string) (time.Duration, bool) {
	const day = 24 * time.Hour
	rest, ok := strings.CutPrefix(s, "P")
	if !ok {
		return 0, false
	}
	var total time.Duration
	units := []struct {
		letter byte
		length time.Duration
	}{{'W', 7 * day}, {'D', day}, {'T', 0}, {'H', time.Hour}, {'M', time.Minute}, {'S', time.Second}}
	for rest != "" {
		if rest[0] == 'T' {
			if len(units) < 4 || rest == "T" {
				return 0, false
			}
			units, rest = units[len(units)-3:], rest[1:]
			continue
		}
		n, digits := 0, 0
		for digits < len(rest) && digits < 7 && rest[digits] >= '0' && rest[digits] <= '9' {
			n = n*10 + int(rest[digits]-'0')
			digits++
		}
		if digits == 0 || digits == len(rest) {
			return 0, false
		}
		letter := rest[digits]
		rest = rest[digits+1:]
		// Each unit may stand once and only after the larger ones.
		found := false
		for len(units) > 0 && units[0].letter != 'T' && !found {
			found = units[0].letter == letter
			if found {
				total += time.Duration(n) * units[0].length
			}
			units = units[1:]
		}
		if !found || total > 366*day {
			return 0, false
		}
	}
	return total, total > 0
}
