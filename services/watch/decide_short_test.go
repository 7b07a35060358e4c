package watch

import (
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
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

func TestShortages(t *testing.T) {
	t.Parallel()
	warned := func(at time.Time, lines ...events.Shortage) []events.Event {
		return []events.Event{{At: at, Body: events.ShortageWarned{Lines: lines}}}
	}
	yesterday := clock("08:00").AddDate(0, 0, -1)
	for _, c := range []struct {
		name string
		s    Supply
		at   string
		want string // empty: nothing is told
	}{
		{"enough of all", Supply{Begun: true, Lines: []events.Shortage{short("clip", "0 each", 5)}}, "09:00", ""},
		{"short on a roof that is begun", Supply{Begun: true, Lines: []events.Shortage{short("clip", "12 each", 5)}, Names: map[events.MaterialID]string{"clip": "Clips"}}, "09:00",
			"1 material does not suffice for the work that is left: Clips short by 12 (40 on hand, 0 on order, 5 days to get)."},
		{"before the hour", Supply{Begun: true, Lines: []events.Shortage{short("clip", "12 each", 5)}}, "06:59", ""},
		{"in quiet hours", Supply{Begun: true, Lines: []events.Shortage{short("clip", "12 each", 5)}}, "21:00", ""},
		{"told today already, and worse", Supply{Begun: true, Lines: []events.Shortage{short("clip", "99 each", 5)}, Warnings: warned(clock("07:10"), short("clip", "12 each", 5))}, "09:00", ""},
		{"told yesterday and a fifth more", Supply{Begun: true, Lines: []events.Shortage{short("clip", "14 each", 5)}, Warnings: warned(yesterday, short("clip", "12 each", 5))}, "09:00", ""},
		{"told yesterday and more than a fifth more", Supply{Begun: true, Lines: []events.Shortage{short("clip", "15 each", 5)}, Warnings: warned(yesterday, short("clip", "12 each", 5))}, "09:00",
			"1 material does not suffice for the work that is left: clip short by 15 (40 on hand, 0 on order, 5 days to get)."},
		{"another material besides", Supply{Begun: true, Lines: []events.Shortage{short("clip", "12 each", 5), short("felt", "1 each", 1)}, Warnings: warned(yesterday, short("clip", "12 each", 5))}, "09:00",
			"2 materials do not suffice for the work that is left: clip short by 12 (40 on hand, 0 on order, 5 days to get); felt short by 1 (40 on hand, 0 on order, 1 day to get)."},
		{"unchanged for a week", Supply{Begun: true, Lines: []events.Shortage{short("clip", "12 each", 5)}, Warnings: warned(yesterday.AddDate(0, 0, -6), short("clip", "12 each", 5))}, "09:00",
			"1 material does not suffice for the work that is left: clip short by 12 (40 on hand, 0 on order, 5 days to get)."},
		{"not begun, nobody said when", Supply{Lines: []events.Shortage{short("clip", "12 each", 5)}}, "09:00", ""},
		{"not begun, nine days before the start", Supply{Start: "2026-05-13", Lines: []events.Shortage{short("clip", "12 each", 5)}}, "09:00", ""},
		{"not begun, eight days before the start", Supply{Start: "2026-05-12", Lines: []events.Shortage{short("clip", "12 each", 5), short("felt", "9 each", 4)}}, "09:00",
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
