package watch

import (
	"fmt"
	"strings"
	"time"

	"bydark/events"
	"bydark/projections/ledger"
	"bydark/services/access"
)

// The rules of shortages are house defaults: told once a day at most, from this hour of
// the site's clock on; told again when a material is new or its shortage grew by more
// than a fifth, and once a week in any case.
const (
	shortFrom  = 7
	shortGrows = 1.2
	shortAgain = 7 * 24 * time.Hour
)

// Shortages are what the ledger says of a roof's material, and what was told of it before.
type Shortages struct {
	Zone   *time.Location
	Supply ledger.Supply
	// Start is the day on which work is to begin, empty when nobody said.
	Start    string
	Warnings []events.Event
}

// DecideShort says whether a shortage is to be told now; nil when not. Told holds the
// role only.
func DecideShort(s Shortages, now time.Time) *events.ShortageWarned {
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
	wants := s.Supply.Short(s.Start, local)
	for _, w := range wants {
		l := events.Shortage{Material: w.Material, ShortBy: w.ShortBy, OnHand: w.OnHand, OnOrder: w.OnOrder, LeadDays: w.LeadDays}
		short = append(short, l)
		news = news || grew(last.Lines, l)
	}
	if len(short) == 0 || !news {
		return nil
	}
	return &events.ShortageWarned{Told: []events.Told{{Role: access.Purchasing}}, Why: shortWords(wants), Lines: short}
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

func shortWords(short []ledger.Want) string {
	parts := make([]string, len(short))
	for i, w := range short {
		parts[i] = fmt.Sprintf("%s short by %s (%s on hand, %s on order, %s to get)", w.Name, w.ShortBy.Shown(), w.OnHand.Shown(), w.OnOrder.Shown(),
			number(w.LeadDays, "day", "days"))
	}
	return number(len(short), "material does", "materials do") + " not suffice for the work that is left: " + strings.Join(parts, "; ") + "."
}
