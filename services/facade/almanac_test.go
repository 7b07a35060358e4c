package facade

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"bydark/events"
	"bydark/services/night"
)

// What is remembered is what would be reckoned, near midnight and where the sun does not rise, too.
func TestAlmanac(t *testing.T) {
	var a almanac
	same := cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })
	for range 2 {
		for _, site := range []events.Site{
			{Lat: 40, Lon: -75, Zone: "America/New_York"}, {Lat: 40, Lon: -75, Zone: "UTC"},
			{Lat: 69.6, Lon: 18.9, Zone: "Europe/Oslo"}, {Lat: -36.8, Lon: 174.8, Zone: "Pacific/Auckland"},
			{Lat: 140, Lon: 0, Zone: "UTC"}, {Lat: 40, Lon: 0, Zone: "Nowhere/At_All"},
		} {
			for hours := range 40 {
				now := time.Date(2026, 12, 19, 3, 30, 0, 0, time.UTC).Add(time.Duration(hours) * time.Hour)
				want, err := night.Coming(site, night.Day{}, now)
				got, e := a.coming(site, night.Day{}, now)
				if diff := cmp.Diff(want, got, same); diff != "" || (err == nil) != (e == nil) {
					t.Fatalf("%v at %v: %v, %v\n%s", site, now, err, e, diff)
				}
			}
		}
	}
}
