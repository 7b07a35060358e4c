package watch

import (
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/ledger"
)

func short(material, by string, lead int) events.Shortage {
	amount := func(s string) quantity.Amount {
		a, err := quantity.ParseAmount(s)
		if err != nil {
			panic(err)
		}
		return a
	}
	return events.Shortage{Material: events.MaterialID(material), ShortBy: amount(by), OnHand: amount("40 each"), OnOrder: amount("0 each"), LeadDays: lead}
}

// supply is what the ledger makes of lines of which so much is short.
func supply(begun bool, lines ...events.Shortage) ledger.Supply {
	s := ledger.Supply{Begun: begun}
	for _, l := range lines {
		s.Wants = append(s.Wants, ledger.Want{Material: l.Material, Name: string(l.Material), ShortBy: l.ShortBy, OnHand: l.OnHand, OnOrder: l.OnOrder, LeadDays: l.LeadDays})
	}
	return s
}

func TestShortages(t *testing.T) {
	t.Parallel()
	warned := func(at time.Time, lines ...events.Shortage) []events.Event {
		return []events.Event{{At: at, Body: events.ShortageWarned{Lines: lines}}}
	}
	yesterday := clock("08:00").AddDate(0, 0, -1)
	for _, c := range []struct {
		name string
		s    Shortages
		at   string
		want string // empty: nothing is told
	}{
		{"enough of all", Shortages{Supply: supply(true)}, "09:00", ""},
		{"short on a roof that is begun", Shortages{Supply: supply(true, short("clip", "12 each", 5))}, "09:00",
			"1 material does not suffice for the work that is left: clip short by 12 (40 on hand, 0 on order, 5 days to get)."},
		{"before the hour", Shortages{Supply: supply(true, short("clip", "12 each", 5))}, "06:59", ""},
		{"in quiet hours", Shortages{Supply: supply(true, short("clip", "12 each", 5))}, "21:00", ""},
		{"told today already, and worse", Shortages{Supply: supply(true, short("clip", "99 each", 5)), Warnings: warned(clock("07:10"), short("clip", "12 each", 5))}, "09:00", ""},
		{"told yesterday and a fifth more", Shortages{Supply: supply(true, short("clip", "14 each", 5)), Warnings: warned(yesterday, short("clip", "12 each", 5))}, "09:00", ""},
		{"told yesterday and more than a fifth more", Shortages{Supply: supply(true, short("clip", "15 each", 5)), Warnings: warned(yesterday, short("clip", "12 each", 5))}, "09:00",
			"1 material does not suffice for the work that is left: clip short by 15 (40 on hand, 0 on order, 5 days to get)."},
		{"another material besides", Shortages{Supply: supply(true, short("clip", "12 each", 5), short("felt", "1 each", 1)), Warnings: warned(yesterday, short("clip", "12 each", 5))}, "09:00",
			"2 materials do not suffice for the work that is left: clip short by 12 (40 on hand, 0 on order, 5 days to get); felt short by 1 (40 on hand, 0 on order, 1 day to get)."},
		{"unchanged for a week", Shortages{Supply: supply(true, short("clip", "12 each", 5)), Warnings: warned(yesterday.AddDate(0, 0, -6), short("clip", "12 each", 5))}, "09:00",
			"1 material does not suffice for the work that is left: clip short by 12 (40 on hand, 0 on order, 5 days to get)."},
		{"not begun, nobody said when", Shortages{Supply: supply(false, short("clip", "12 each", 5))}, "09:00", ""},
		{"not begun, nine days before the start", Shortages{Start: "2026-05-13", Supply: supply(false, short("clip", "12 each", 5))}, "09:00", ""},
		{"not begun, eight days before the start", Shortages{Start: "2026-05-12", Supply: supply(false, short("clip", "12 each", 5), short("felt", "9 each", 4))}, "09:00",
			"1 material does not suffice for the work that is left: clip short by 12 (40 on hand, 0 on order, 5 days to get)."},
	} {
		c.s.Zone = zone
		got := DecideShort(c.s, clock(c.at))
		switch {
		case got == nil && c.want != "" || got != nil && got.Why != c.want:
			t.Errorf("%s: %+v\nwant %q", c.name, got, c.want)
		case got != nil && (len(got.Told) != 1 || got.Told[0].Role != "purchasing"):
			t.Errorf("%s: told to %v", c.name, got.Told)
		}
	}
}
