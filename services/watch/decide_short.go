package watch

import (
	"fmt"
	"strings"
	"time"

	"bydark/events"
	"bydark/services/access"
)

// The rules of shortages are house defaults: told once a day at most, from this hour of
// the site's clock on; told again when a material is new or its shortage grew by more
// than a fifth, and once a week in any case.
const (
	shortFrom  = 7
	shortGrows = 1.2
	shortAgain = 7 * 24 * time.Hour
	// shortAhead is how many days before the last day to order a material is told of, on
	// a roof that is not begun.
	shortAhead = 3
)

// Supply is what the ledger says of a job's materials.
type Supply struct {
	Zone *time.Location
	// Begun tells that material came or work was done; until then Start is the day on
	// which work is to begin, empty when nobody said.
	Begun bool
	Start string
	// Lines are all materials, Names what people call them.
	Lines    []events.Shortage
	Names    map[events.MaterialID]string
	Warnings []events.Event
}

// DecideShort says whether a shortage is to be told now; nil when not. Told holds the
// role only.
func DecideShort(s Supply, now time.Time) *events.ShortageWarned {
	local := now.In(s.Zone)
	if local.Hour() < shortFrom || local.Hour() >= Usual().QuietFrom {
		return nil
	}
	var last events.ShortageWarned
	var lastAt time.Time
	for _, e := range s.Warnings {
		if b, ok := e.Body.(events.ShortageWarned); ok {
			last, lastAt = b, e.At
		}
	}
	if !lastAt.IsZero() && lastAt.In(s.Zone).Format(time.DateOnly) == local.Format(time.DateOnly) {
		return nil
	}
	var short []events.Shortage
	news := lastAt.IsZero() || now.Sub(lastAt) >= shortAgain
	for _, l := range s.Lines {
		if l.ShortBy.Sign() <= 0 || !s.due(l, local) {
			continue
		}
		short = append(short, l)
		news = news || grew(last.Lines, l)
	}
	if len(short) == 0 || !news {
		return nil
	}
	return &events.ShortageWarned{Told: []events.Told{{Role: access.Purchasing}}, Why: shortWords(short, s.Names), Lines: short}
}

// due tells whether it is time to speak of a material: the roof is begun, or the last
// day to order it is near.
func (s Supply) due(l events.Shortage, local time.Time) bool {
	if s.Begun {
		return true
	}
	start, err := time.ParseInLocation(time.DateOnly, s.Start, s.Zone)
	if err != nil {
		return false // nobody said when
	}
	return !local.Before(start.AddDate(0, 0, -l.LeadDays-shortAhead))
}

// grew tells whether a shortage is new or larger than it was told.
func grew(told []events.Shortage, l events.Shortage) bool {
	for _, t := range told {
		if t.Material != l.Material {
			continue
		}
		if _, err := l.ShortBy.Sub(t.ShortBy); err != nil {
			return true // another unit: another assembly
		}
		return l.ShortBy.Plain() > t.ShortBy.Plain()*shortGrows
	}
	return true
}

func shortWords(short []events.Shortage, names map[events.MaterialID]string) string {
	parts := make([]string, len(short))
	for i, l := range short {
		name := names[l.Material]
		if name == "" {
			name = string(l.Material)
		}
		parts[i] = fmt.Sprintf("%s short by %s (%s on hand, %s on order, %s to get)", name, l.ShortBy.Shown(), l.OnHand.Shown(), l.OnOrder.Shown(),
			number(l.LeadDays, "day", "days"))
	}
	return number(len(short), "material does", "materials do") + " not suffice for the work that is left: " + strings.Join(parts, "; ") + "."
}
