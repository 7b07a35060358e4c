package roofjob

import (
	"strings"
	"testing"

	"bydark/events"
)

// Longitudes of places from memory, to a tenth of a degree.
func TestALongitudeWithoutItsMinus(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		lon  float64
		zone string
		good bool
	}{
		{-74.6, "America/New_York", true}, {74.6, "America/New_York", false}, {-118.2, "America/Los_Angeles", true}, {118.2, "America/Los_Angeles", false},
		{76, "Asia/Shanghai", true}, {151.2, "Australia/Sydney", true}, {174.8, "Pacific/Auckland", true},
		{-157.9, "Pacific/Honolulu", true}, {-171.8, "Pacific/Apia", true}, {-157.4, "Pacific/Kiritimati", true}, {-0.1, "Europe/London", true},
		{0.1, "Europe/London", true}, {-8.5, "Europe/Madrid", true}, {-176.6, "America/Adak", true}, {180, "Pacific/Fiji", true}, {-180, "Pacific/Fiji", true}, {0, "UTC", true},
	} {
		err := sunny(events.Site{Lat: 40, Lon: c.lon, Zone: c.zone})
		r := events.RefusalIn(err)
		if c.good != (err == nil) || err != nil && (r == nil || r.Code != "impossible" || r.Where != "/site/lon") {
			t.Errorf("%g in %s: %v", c.lon, c.zone, err)
		}
	}
	err := sunny(events.Site{Lon: 74.6, Zone: "America/New_York"})
	if err == nil || !strings.Contains(err.Error(), "at 74.6° east noon is at 02:02 of America/New_York") || !strings.Contains(err.Error(), "is a minus missing?") {
		t.Error(err)
	}
}
