package weather

import (
	"encoding/json/v2"
	"fmt"
	"slices"
	"time"
)

// readOwn reads the JSON that a Forecast prints. It is ours and strict: an unknown
// member, an hour out of step or a value that no weather has is refused.
func readOwn(doc []byte) (Forecast, error) {
	var f Forecast
	if err := decode(doc, "forecast", &f, json.RejectUnknownMembers(true)); err != nil {
		return Forecast{}, err
	}
	switch {
	case len(f.Hours) == 0:
		return Forecast{}, refuse(CodeNothing, "hours", "none", "at least one hour")
	case len(f.Hours) > maxHours:
		return Forecast{}, refuse(CodeTooLarge, "hours", fmt.Sprint(len(f.Hours)), fmt.Sprintf("at most %d", maxHours))
	}
	if f.Kind == "" {
		f.Kind = KindOwn
	}
	for n := range f.Hours {
		h := &f.Hours[n]
		h.Time = h.Time.UTC()
		where := fmt.Sprintf("hours, hour %d", n+1)
		if !h.Time.Equal(h.Time.Truncate(time.Hour)) || !plausibleYear(h.Time) {
			return Forecast{}, refuse(CodeOutOfRange, where+", time", stamp(h.Time), "a whole hour")
		}
		if n > 0 && !h.Time.Equal(f.Hours[n-1].Time.Add(time.Hour)) {
			return Forecast{}, refuse(CodeUnreadable, where+", time", stamp(h.Time), "the hour after the one before; null readings where nothing is known")
		}
		for _, l := range layers {
			if r := l.at(h); r.Known && !(r.V >= l.lo && r.V <= l.hi) {
				return Forecast{}, refuse(CodeOutOfRange, where+", "+l.name, fmt.Sprint(r.V), fmt.Sprintf("%g to %g %s", l.lo, l.hi, l.unit))
			}
		}
	}
	if !f.Outline.possible() || slices.ContainsFunc(f.Outline, func(ring [][2]float64) bool { return len(ring) == 0 }) {
		return Forecast{}, refuse(CodeOutOfRange, "outline", "a point off the globe, or a ring without points", "rings of longitude and latitude in degrees")
	}
	f.Issued = f.Issued.UTC()
	return f, nil
}
