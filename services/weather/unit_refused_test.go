package weather_test

import (
	"strings"
	"testing"

	"bydark/events"
	"bydark/services/weather"
)

// A document of which nothing can be taken because of its unit says which unit.
func TestUnknownUnitIsNamed(t *testing.T) {
	t.Parallel()
	_, err := weather.Read([]byte(`{"properties":{"validTimes":"x","quantitativePrecipitation":{"uom":"wmoUnit:furlong","values":[{"validTime":"2026-05-04T13:00:00+00:00/PT1H","value":1}]}}}`))
	r := events.RefusalIn(err)
	if r == nil || r.Code != weather.CodeNothing || !strings.Contains(r.Was, "furlong") || r.Where != "quantitativePrecipitation" {
		t.Errorf("%v", err)
	}
}
