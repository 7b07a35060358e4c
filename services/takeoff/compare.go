package takeoff

import (
	"fmt"
	"slices"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
)

// Difference is what changed of one material between two estimates.
type Difference struct {
	Material events.MaterialID
	// First and Now are net; their packs are what each estimate orders. A material that
	// one of them lacks has the zero Amount there.
	First, Now           quantity.Amount
	FirstPacks, NowPacks int64
	OrderUnit            string
	// Why names the places whose need changed, each with both numbers.
	Why string
}

// Compare lists the materials whose need or order changed from the first estimate to
// the one of now, in the order of now, those that are gone at the end.
func Compare(first, now *Estimate) []Difference {
	var all []Difference
	find := func(e *Estimate, id events.MaterialID) *Line {
		if i := slices.IndexFunc(e.Lines, func(l Line) bool { return l.Material == id }); i >= 0 {
			return &e.Lines[i]
		}
		return &Line{Material: id}
	}
	add := func(a, b *Line) {
		if a.Net == b.Net && a.Packs == b.Packs {
			return
		}
		d := Difference{Material: b.Material, First: a.Net, Now: b.Net, FirstPacks: a.Packs, NowPacks: b.Packs, OrderUnit: b.OrderUnit}
		if d.OrderUnit == "" {
			d.OrderUnit = a.OrderUnit
		}
		d.Why = why(first, now, b.Material)
		all = append(all, d)
	}
	for i := range now.Lines {
		add(find(first, now.Lines[i].Material), &now.Lines[i])
	}
	for i := range first.Lines {
		if l := find(now, first.Lines[i].Material); l.Unit == "" {
			add(&first.Lines[i], l)
		}
	}
	return all
}

// why says at which places the need of a material changed.
func why(first, now *Estimate, material events.MaterialID) string {
	nets := func(e *Estimate) (map[events.Place]quantity.Amount, []events.Place) {
		sums, order := map[events.Place]quantity.Amount{}, []events.Place{}
		for i := range e.Demands {
			if d := &e.Demands[i]; d.Material == material {
				if _, ok := sums[d.Place]; !ok {
					order = append(order, d.Place)
				}
				sums[d.Place] = plus(sums[d.Place], d.Net)
			}
		}
		return sums, order
	}
	a, before := nets(first)
	b, places := nets(now)
	for _, p := range before {
		if _, ok := b[p]; !ok {
			places = append(places, p)
		}
	}
	var parts []string
	for _, p := range places {
		switch x, y := a[p], b[p]; {
		case x == y:
		case x == quantity.Amount{}:
			parts = append(parts, fmt.Sprintf("%s is new, %s", p, said(y)))
		case y == quantity.Amount{}:
			parts = append(parts, fmt.Sprintf("%s is gone, %s", p, said(x)))
		default:
			parts = append(parts, fmt.Sprintf("%s %s, was %s%s", p, said(y), said(x), grown(first, now, p)))
		}
	}
	if len(parts) == 0 {
		return "the same need at every place, bought otherwise"
	}
	return strings.Join(parts, "; ")
}

// grown tells how the place itself changed.
func grown(first, now *Estimate, p events.Place) string {
	x, y := first.Extent(p, ""), now.Extent(p, "")
	if x == y {
		return ""
	}
	return fmt.Sprintf(" (it measures %s, was %s)", said(y), said(x))
}
