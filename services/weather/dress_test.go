package weather

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"bydark/events"
)

// The service describes its units as codes of the WMO register under several names (wmoUnit:,
// in older documents unit:), and says that it will change to the unified code: one sky.
func TestUnitsInEveryDress(t *testing.T) {
	const form = `{"properties":{"updateTime":"2024-01-08T15:00:00+00:00","validTimes":"2024-01-08T15:00:00+00:00/P1D",` +
		`%q:{"uom":%q,"values":[{"validTime":"2024-01-08T15:00:00+00:00/PT1H","value":%g}]}}}`
	for _, c := range []struct {
		layer, where string
		want         float64
		dresses      map[string]float64
	}{
		{"temp", "temperature", 10, map[string]float64{"wmoUnit:degC": 10, "unit:degC": 10, "wmo:degC": 10, "uc:Cel": 10, "Cel": 10, "wmoUnit:degF": 50, "unit:degF": 50, "[degF]": 50, "wmoUnit:K": 283.15}},
		{"dew", "dewpoint", -40, map[string]float64{"wmoUnit:degC": -40, "unit:degF": -40, "uc:[degF]": -40}},
		{"wind", "windSpeed", 5, map[string]float64{"wmoUnit:km_h-1": 18, "unit:km_h-1": 18, "unit:m_s-1": 5, "wmoUnit:m_s-1": 5, "uc:km/h": 18, "m/s": 5, "uc:[mi_i]/h": 5 / MSPerMPH, "wmoUnit:kt": 5 * 3600 / 1852.0, "[kn_i]": 5 * 3600 / 1852.0}},
		{"rain", "quantitativePrecipitation", 2.54, map[string]float64{"wmoUnit:mm": 2.54, "unit:mm": 2.54, "unit:m": 0.00254, "uc:cm": 0.254, "[in_i]": 0.1, "mm": 2.54}},
		{"chance", "probabilityOfPrecipitation", 40, map[string]float64{"wmoUnit:percent": 40, "unit:percent": 40, "%": 40, "uc:%": 40, "": 40}},
		{"wind_from", "windDirection", 200, map[string]float64{"wmoUnit:degree_(angle)": 200, "unit:degree_(angle)": 200, "deg": 200, "uc:deg": 200}},
	} {
		for uom, v := range c.dresses {
			f, err := Read([]byte(fmt.Sprintf(form, c.where, uom, v)))
			if err != nil {
				t.Errorf("%s in %q: %v", c.where, uom, err)
				continue
			}
			if got := *layerNamed(c.layer).at(&f.Hours[0]); !got.Known || math.Abs(got.V-c.want) > 1e-9 {
				t.Errorf("%g %q of %s reads as %v, want %g", v, uom, c.where, got, c.want)
			}
		}
	}
}

// readPeriod reads a forecast of one hour with some members.
func readPeriod(members string) (Forecast, error) {
	return Read([]byte(`{"geometry":null,"properties":{"updateTime":"2026-03-08T06:00:00+00:00","periods":[` +
		`{"number":1,"startTime":"2026-03-08T03:00:00-05:00","endTime":"2026-03-08T04:00:00-05:00",` + members + `}]}}`))
}

// The ways in which a forecast by periods says a wind and a temperature.
func TestPeriodsInEveryDress(t *testing.T) {
	none := Reading{}
	for _, c := range []struct {
		members, layer string
		want           Reading
	}{
		{`"windSpeed":"10 mph"`, "wind", Known(10 * MSPerMPH)},
		{`"windSpeed":"10 to 15 mph"`, "wind", Known(15 * MSPerMPH)},
		{`"windSpeed":"0 mph"`, "wind", Known(0)},
		{`"windSpeed":"9 km/h"`, "wind", Known(2.5)},
		{`"windSpeed":""`, "wind", none},
		{`"windSpeed":null`, "wind", none},
		{`"windSpeed":{"unitCode":"wmoUnit:km_h-1","value":18}`, "wind", Known(5)},
		{`"windSpeed":{"unitCode":"wmoUnit:km_h-1","minValue":9,"maxValue":18}`, "wind", Known(5)},
		{`"windSpeed":{"unitCode":"wmoUnit:km_h-1","value":null,"minValue":9,"maxValue":18}`, "wind", Known(5)},
		{`"windSpeed":{"unitCode":"unit:km_h-1","value":null}`, "wind", none},
		{`"windSpeed":{"value":18}`, "wind", none},
		{`"windGust":"25 mph"`, "gust", Known(25 * MSPerMPH)},
		{`"windGust":null`, "gust", none},
		{`"windGust":{"unitCode":"wmoUnit:km_h-1","value":36}`, "gust", Known(10)},
		{`"temperature":50,"temperatureUnit":"F"`, "temp", Known(10)},
		{`"temperature":10,"temperatureUnit":"C"`, "temp", Known(10)},
		{`"temperature":null,"temperatureUnit":"F"`, "temp", none},
		{`"temperature":10`, "temp", none},
		{`"temperature":10,"temperatureUnit":null`, "temp", none},
		{`"temperature":{"unitCode":"wmoUnit:degC","value":10}`, "temp", Known(10)},
		{`"temperature":{"unitCode":"unit:degC","value":null}`, "temp", none},
		{`"probabilityOfPrecipitation":{"unitCode":"wmoUnit:percent","value":null}`, "chance", none},
		{`"probabilityOfPrecipitation":{"unitCode":"unit:percent","value":30}`, "chance", Known(30)},
		{`"probabilityOfPrecipitation":{"unitCode":"unit:percent","value":130}`, "chance", none},
		{`"dewpoint":{"unitCode":"unit:degC","value":4.5}`, "dew", Known(4.5)},
		{`"relativeHumidity":null`, "rh", none},
		{`"windDirection":"NNW"`, "wind_from", Known(337.5)},
		{`"windDirection":""`, "wind_from", none},
		{`"windDirection":null`, "wind_from", none},
		{`"windDirection":"VRB"`, "wind_from", none},
		{`"windSpeed":"15 parsecs"`, "wind", none},
		{`"windSpeed":"1500 mph"`, "wind", none},
	} {
		f, err := readPeriod(c.members)
		if err != nil {
			t.Errorf("%s: %v", c.members, err)
			continue
		}
		if got := *layerNamed(c.layer).at(&f.Hours[0]); got.Known != c.want.Known || math.Abs(got.V-c.want.V) > 1e-9 {
			t.Errorf("%s reads as %v, want %v", c.members, got, c.want)
		}
	}
}

// What says no wind and no temperature is refused, and not read as the number in it.
func TestPeriodsRefused(t *testing.T) {
	for _, members := range []string{
		`"windSpeed":"NaN mph"`, `"windSpeed":"Inf mph"`, `"windSpeed":"0x10 mph"`, `"windSpeed":"1e9 mph"`, `"windSpeed":"not 15 mph"`, `"windSpeed":"15"`,
		`"windSpeed":"15 to mph"`, `"windSpeed":"10 to 15 to 20 mph"`, `"windSpeed":"10 or 15 mph"`, `"windSpeed":"ten mph"`, `"windSpeed":15`, `"windSpeed":[15]`,
		`"windSpeed":true`, `"windSpeed":"-5 mph"`, `"windSpeed":"15 to 10 mph"`, `"windSpeed":". mph"`, `"windSpeed":"١٥ mph"`, `"windGust":"gusty mph"`,
		`"temperature":"50"`, `"temperature":[50]`, `"temperature":true`, `"temperature":{"unitCode":"wmoUnit:degC","value":"10"}`, `"windDirection":200`,
		`"probabilityOfPrecipitation":30`, `"dewpoint":"4.5"`,
	} {
		if f, err := readPeriod(members); events.RefusalIn(err) == nil || f.Hours != nil {
			t.Errorf("%s: %v, %d hours taken", members, err, len(f.Hours))
		}
	}
}

// On days on which clocks change, read as periods and as intervals, no hour is lost or doubled.
func TestDaysOfTheClockChange(t *testing.T) {
	for _, c := range []struct {
		first string
		hours []string // start and end as a local clock shows them
	}{
		{"2026-03-08T05:00:00Z", []string{"2026-03-08T00:00:00-05:00|2026-03-08T01:00:00-05:00", "2026-03-08T01:00:00-05:00|2026-03-08T03:00:00-04:00",
			"2026-03-08T03:00:00-04:00|2026-03-08T04:00:00-04:00", "2026-03-08T04:00:00-04:00|2026-03-08T05:00:00-04:00"}},
		{"2026-11-01T04:00:00Z", []string{"2026-11-01T00:00:00-04:00|2026-11-01T01:00:00-04:00", "2026-11-01T01:00:00-04:00|2026-11-01T01:00:00-05:00",
			"2026-11-01T01:00:00-05:00|2026-11-01T02:00:00-05:00", "2026-11-01T02:00:00-05:00|2026-11-01T03:00:00-05:00"}},
	} {
		var periods, values []string
		for n, p := range c.hours {
			start, end, _ := strings.Cut(p, "|")
			periods = append(periods, fmt.Sprintf(`{"startTime":%q,"endTime":%q,"temperature":%d,"temperatureUnit":"C"}`, start, end, n))
			values = append(values, fmt.Sprintf(`{"validTime":"%s/%s","value":%d}`, start, end, n))
		}
		for _, doc := range []string{
			`{"properties":{"updateTime":"` + c.first + `","periods":[` + strings.Join(periods, ",") + `]}}`,
			`{"properties":{"updateTime":"` + c.first + `","validTimes":"","temperature":{"uom":"wmoUnit:degC","values":[` + strings.Join(values, ",") + `]}}}`,
		} {
			f, err := Read([]byte(doc))
			if err != nil || len(f.Hours) != len(c.hours) || !f.Hours[0].Time.Equal(clock(t, c.first)) {
				t.Errorf("%s: %v, %d hours", c.first, err, len(f.Hours))
				continue
			}
			for n, h := range f.Hours {
				if !h.TempC.Known || h.TempC.V != float64(n) {
					t.Errorf("%s: hour %d has %v", c.first, n, h.TempC)
				}
			}
		}
	}
	// An offset that slips by itself, so that the hours no longer fit, is refused.
	_, err := Read([]byte(`{"properties":{"periods":[` +
		`{"startTime":"2026-03-08T00:00:00-05:00","endTime":"2026-03-08T01:00:00-05:00","temperature":1,"temperatureUnit":"C"},` +
		`{"startTime":"2026-03-08T01:00:00-04:00","endTime":"2026-03-08T02:00:00-04:00","temperature":2,"temperatureUnit":"C"}]}}`))
	if r := events.RefusalIn(err); r == nil || r.Code != CodeZoneLeap {
		t.Errorf("a slipping offset: %v", err)
	}
}

// Intervals as ISO 8601 and the service's own description have them.
func TestSpans(t *testing.T) {
	at := func(s string) time.Time { return clock(t, s) }
	for s, want := range map[string]span{
		"2024-01-08T15:00:00+00:00/PT6H":                      {at("2024-01-08T15:00:00Z"), at("2024-01-08T21:00:00Z")},
		"2024-01-08T15:00:00Z/P1DT6H":                         {at("2024-01-08T15:00:00Z"), at("2024-01-09T21:00:00Z")},
		"2024-01-08T15:00:00-06:00/2024-01-08T16:00:00-06:00": {at("2024-01-08T21:00:00Z"), at("2024-01-08T22:00:00Z")},
		"PT6H/2024-01-08T21:00:00+00:00":                      {at("2024-01-08T15:00:00Z"), at("2024-01-08T21:00:00Z")},
	} {
		if got, ok := parseSpan(s); !ok || !got.start.Equal(want.start) || !got.end.Equal(want.end) {
			t.Errorf("%s: %v %v, want %v", s, got, ok, want)
		}
	}
	for _, s := range []string{
		"", "/", "PT6H", "PT6H/PT6H", "NOW/PT6H", "2024-01-08T15:00:00Z/NOW", "2024-01-08/P1D", "2024-01-08T15:00:00/PT6H", "2024-01-08T15:00:00Z/PT6H/PT6H",
		"2024-01-08T15:00:00Z/2024-01-08T15:00:00Z", "2024-01-08T15:00:00Z/2024-01-08T14:00:00Z", "1850-01-01T00:00:00Z/PT1H", "PT6H/0001-01-01T00:00:00Z", "PT0H/2024-01-08T15:00:00Z",
	} {
		if got, ok := parseSpan(s); ok {
			t.Errorf("%s is taken as %v", s, got)
		}
	}
}

func anAlert(geometry, members string) []byte {
	return []byte(`{"type":"FeatureCollection","features":[{"geometry":` + geometry + `,"properties":{"event":"Wind Advisory",` +
		`"sent":"2026-03-04T12:00:00-06:00","expires":"2026-03-04T20:00:00-06:00"` + members + `}}]}`)
}

// Alerts with and without an outline, and with nulls where the service gives them.
func TestAlertsInEveryDress(t *testing.T) {
	for _, c := range []struct {
		geometry, members string
		mapped            bool
	}{
		{"null", ``, false},
		{`{"type":"Polygon","coordinates":[[[1,2],[3,4],[1,2]]]}`, ``, true},
		{"null", `,"onset":null,"ends":null,"headline":null,"severity":null,"certainty":null,"urgency":null,"areaDesc":null,"instruction":null,"parameters":{}`, false},
	} {
		alerts, err := ReadAlerts(anAlert(c.geometry, c.members))
		if err != nil || len(alerts) != 1 || alerts[0].Mapped != c.mapped || alerts[0].Kind != "wind" {
			t.Errorf("%s%s: %v, %+v", c.geometry, c.members, err, alerts)
			continue
		}
		in := clock(t, "2026-03-04T22:00:00Z")
		if a := alerts[0]; !a.InForce(in, in.Add(time.Hour)) || a.InForce(in.Add(5*time.Hour), in.Add(6*time.Hour)) {
			t.Errorf("%s%s: in force from %s to %s", c.geometry, c.members, a.Onset, a.Ends)
		}
	}
}

// An alert half read must not look like none.
func TestAlertsRefused(t *testing.T) {
	for what, doc := range map[string][]byte{
		"no event":                    bytes.Replace(anAlert("null", ""), []byte("Wind Advisory"), nil, 1),
		"an event that is null":       bytes.Replace(anAlert("null", ""), []byte(`"Wind Advisory"`), []byte("null"), 1),
		"no end":                      bytes.Replace(anAlert("null", ""), []byte("expires"), []byte("expired"), 1),
		"no zone":                     bytes.Replace(anAlert("null", ""), []byte("-06:00"), nil, 1),
		"an onset in words":           anAlert("null", `,"onset":"noon"`),
		"features that are null":      []byte(`{"features":null}`),
		"an alert that is null":       []byte(`{"features":[null]}`),
		"an alert without properties": []byte(`{"features":[{"geometry":null}]}`),
		"properties that are null":    []byte(`{"features":[{"properties":null}]}`),
		"a forecast":                  file(t, "ohx-2024-01-08", "gridpoint.json"),
	} {
		if alerts, err := ReadAlerts(doc); events.RefusalIn(err) == nil || alerts != nil {
			t.Errorf("%s: %v, %+v", what, err, alerts)
		}
	}
}

// FuzzReadAlerts and FuzzReadObservations: whatever comes in, a refusal or whole records.
func FuzzReadAlerts(f *testing.F) {
	f.Add(anAlert("null", `,"onset":null`))
	f.Add([]byte(`{"features":[]}`))
	f.Fuzz(func(t *testing.T, doc []byte) {
		alerts, err := ReadAlerts(doc)
		if err != nil && (events.RefusalIn(err) == nil || alerts != nil) {
			t.Fatalf("%v and %d alerts", err, len(alerts))
		}
		for _, a := range alerts {
			if a.Event == "" || a.Sent.IsZero() != (a.Sent.Year() == 1) || a.Kind == "" {
				t.Fatalf("half an alert: %+v", a)
			}
		}
	})
}

func FuzzReadObservations(f *testing.F) {
	f.Add([]byte(`{"properties":{"timestamp":"2026-03-04T18:20:00+00:00","station":"https://x/y","temperature":{"unitCode":"wmoUnit:degC","value":4},"windSpeed":{"unitCode":"wmoUnit:km_h-1","value":null}}}`))
	f.Fuzz(func(t *testing.T, doc []byte) {
		all, err := ReadObservations(doc)
		if err != nil && (events.RefusalIn(err) == nil || all != nil) {
			t.Fatalf("%v and %d observations", err, len(all))
		}
		for _, o := range all {
			if o.TempC.Known && !(o.TempC.V >= -90 && o.TempC.V <= 60) || o.WindMS.Known && !(o.WindMS.V >= 0 && o.WindMS.V <= 110) {
				t.Fatalf("absurd: %+v", o)
			}
		}
	})
}
