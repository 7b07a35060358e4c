package weather_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/services/weather"
)

func box(west, south, east, north float64) weather.Outline {
	return weather.Outline{{{west, south}, {east, south}, {east, north}, {west, north}, {west, south}}}
}

// Distances against arcs that are known without a formula: a degree of a great circle is
// 6371.0088 km · π/180 = 111.195 km (mean radius, IUGG), along a meridian and the equator, over
// the pole, and over the line where longitudes leap.
func TestDistanceToAnOutline(t *testing.T) {
	t.Parallel()
	const degree = 6371.0088 * math.Pi / 180
	for _, c := range []struct {
		what     string
		o        weather.Outline
		lat, lon float64
		km       float64
	}{
		{"within", box(-93.2, 44.9, -93.1, 45), 44.95, -93.15, 0},
		{"on a corner", box(-93.2, 44.9, -93.1, 45), 44.9, -93.2, 0},
		{"a degree north of its side", box(-1, 40, 1, 41), 42, 0, degree},
		{"a degree south, within the breadth of a long side", box(-20, 40, 20, 41), 39, 0, degree},
		{"a quarter of a degree east on the equator", box(0, -1, 1, 1), 0, 1.25, degree / 4},
		{"a point ten degrees north", weather.Outline{{{7, 50}}}, 40, 7, 10 * degree},
		{"over the pole", weather.Outline{{{0, 89}}}, 89, 180, 2 * degree},
		{"over the date line", box(179, -1, 179.5, 1), 0, -180, degree / 2},
		{"within, over the date line", weather.Outline{{{179, -1}, {-179, -1}, {-179, 1}, {179, 1}}}, 0, 180, 0},
		{"the other side of the globe", weather.Outline{{{0, 0}}}, 0, 180, 180 * degree},
		{"the nearer of two", weather.Outline{box(0, 50, 1, 51)[0], box(0, 45, 1, 46)[0]}, 44, 0.5, degree},
	} {
		if got := c.o.DistanceKM(c.lat, c.lon); math.Abs(got-c.km) > 0.01*c.km+0.001 {
			t.Errorf("%s: %g km, want %g", c.what, got, c.km)
		}
	}
}

// Each recorded document is for where it says, and for none of the other recorded places.
func TestRecordedDocumentsKnowTheirPlace(t *testing.T) {
	t.Parallel()
	// The first corner of each document's outline, as it stands in it.
	corners := map[string][2]float64{
		"bmx-2024-02-20": {33.5223732, -86.8288374}, "box-2026-07-15": {41.9459, -71.1852}, "fgz-2024-02-20": {35.2093311, -111.6645606},
		"gum-2026-05-14": {13.4343, 144.799}, "mpx-2024-01-11": {34.7641, -92.275}, "mpx-2026-03-04": {44.9855, -93.1415}, "sew-2026-03-04": {47.5996, -122.3017},
	}
	for name := range corners {
		for _, file := range []string{"gridpoint.json", "forecast-hourly.json", "forecast.json"} {
			doc, err := os.ReadFile("../../testdata/weather/" + name + "/" + file)
			if os.IsNotExist(err) {
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			f, err := weather.Read(doc)
			if err != nil {
				t.Fatal(err)
			}
			for other, at := range corners {
				err := f.Near(at[0], at[1])
				r := events.RefusalIn(err)
				if name == other && err != nil || name != other && (r == nil || r.Code != weather.CodeElsewhere || !strings.Contains(r.Was, " km (")) {
					t.Errorf("%s/%s for %s: %v", name, file, other, err)
				}
			}
		}
	}
	doc, err := os.ReadFile("../../testdata/weather/ohx-2024-01-08/gridpoint.json")
	if err != nil {
		t.Fatal(err)
	}
	// The place of this one was taken out before it was published: a bow two degrees wide.
	f, err := weather.Read(doc)
	if err != nil || f.Near(36.12, -86.69) != nil || len(f.Outline) != 0 {
		t.Errorf("a document without a place: %v, %v", f.Outline, err)
	}
	told := false
	for _, n := range f.Told {
		told = told || n.Code == weather.NotePlace
	}
	if !told {
		t.Error("that its outline stands for nothing is not told")
	}
}

func TestPlacesThatCannotBe(t *testing.T) {
	t.Parallel()
	const layers = `"properties":{"validTimes":"x","quantitativePrecipitation":{"uom":"wmoUnit:mm","values":[{"validTime":"2026-05-04T13:00:00+00:00/PT1H","value":1}]}}`
	for _, geometry := range []string{
		`null`, `7`, `"x"`, `{}`, `{"type":"Polygon"}`, `{"type":"Polygon","coordinates":[]}`, `{"type":"Polygon","coordinates":[[[1]]]}`, `{"type":"Polygon","coordinates":[[["a","b"]]]}`,
		`{"type":"Polygon","coordinates":[[[500,1],[501,1],[501,2]]]}`, `{"type":"Polygon","coordinates":[[[1,95]]]}`, `{"type":"LineString","coordinates":[[1,1],[2,2]]}`, `{"type":"Polygon","coordinates":{"a":1}}`,
	} {
		f, err := weather.Read([]byte(`{"type":"Feature","geometry":` + geometry + `,` + layers + `}`))
		if err != nil || len(f.Outline) != 0 || f.Near(-33, 151) != nil {
			t.Errorf("%s: %v, %v", geometry, f.Outline, err)
		}
	}
	f, err := weather.Read([]byte(`{"type":"Feature","geometry":{"type":"Point","coordinates":[-93,45,250]},` + layers + `}`))
	if err != nil || fmt.Sprint(f.Outline) != "[[[-93 45]]]" || f.Near(45.1, -93) != nil || f.Near(46, -93) == nil {
		t.Errorf("a point: %v, %v", f.Outline, err)
	}
}

func TestForecastsThatAreOver(t *testing.T) {
	t.Parallel()
	f, err := weather.Read([]byte("time,rain_mm\n2026-05-04T13:00:00Z,1\n2026-05-04T14:00:00Z,2\n"))
	if err != nil {
		t.Fatal(err)
	}
	end := time.Date(2026, 5, 4, 15, 0, 0, 0, time.UTC)
	if err := f.Reaches(end.Add(-time.Second)); err != nil {
		t.Errorf("an hour that still lasts: %v", err)
	}
	r := events.RefusalIn(f.Reaches(end.Add(26 * time.Hour)))
	if r == nil || r.Code != weather.CodePast || r.Was != "the last of them ended 2026-05-04T15:00:00Z, 26 h ago" {
		t.Errorf("%+v", r)
	}
}

// Of the recorded alerts of a day those are for a place that hold it in their outline, or name
// zones only.
func TestAlertsAtAPlace(t *testing.T) {
	t.Parallel()
	doc, err := os.ReadFile("../../testdata/weather/alerts-2026-07-15/alerts.json")
	if err != nil {
		t.Fatal(err)
	}
	all, err := weather.ReadAlerts(doc)
	if err != nil {
		t.Fatal(err)
	}
	zones := 0
	for _, a := range all {
		if a.Mapped != (len(a.Outline) > 0) {
			t.Errorf("%s: mapped %v, outline %v", a.Event, a.Mapped, a.Outline)
		}
		if !a.Mapped {
			zones++
		}
	}
	// In the middle of the Pacific no outline lies.
	if got := weather.AlertsAt(all, 0, -150); len(got) != zones {
		t.Errorf("at sea %d alerts hold, of %d with zones only", len(got), zones)
	}
	for _, a := range all {
		if !a.Mapped {
			continue
		}
		var lon, lat float64
		for _, p := range a.Outline[0] {
			lon += p[0] / float64(len(a.Outline[0]))
			lat += p[1] / float64(len(a.Outline[0]))
		}
		if got := weather.AlertsAt([]weather.Alert{a}, lat, lon); len(got) != 1 {
			t.Errorf("%s is not for the middle of its own outline", a.Event)
		}
	}
}
