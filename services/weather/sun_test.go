package weather_test

import (
	"encoding/csv"
	"math"
	"os"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // zones must not depend on the machine

	"pgregory.net/rapid"

	"bydark/services/weather"
)

func reference(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for n, name := range all[0] {
			row[name] = cells[n]
		}
		out = append(out, row)
	}
	return out
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func within(t *testing.T, what string, got, want time.Time, tolerance time.Duration) {
	t.Helper()
	if d := got.Sub(want); d.Abs() > tolerance {
		t.Errorf("%s %s, want %s within %s", what, got.Format(time.RFC3339), want.Format(time.RFC3339), tolerance)
	}
}

// The US Naval Observatory's table for Atlanta (N33 46, W084 25), whole minutes, EST all
// year: see testdata/reference/README.md.
func TestSunAtlanta(t *testing.T) {
	est := time.FixedZone("EST", -5*3600)
	days := reference(t, "sun-usno-atlanta-2007.csv")
	worst := time.Duration(0)
	for _, r := range days {
		day, err := time.ParseInLocation(time.DateOnly, r["date"], est)
		if err != nil {
			t.Fatal(err)
		}
		d, err := weather.Sun(33+46.0/60, -(84 + 25.0/60), day)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range []struct {
			column string
			at     time.Time
		}{{"sunrise_est", d.Sunrise.At}, {"sunset_est", d.Sunset.At}} {
			want, err := time.ParseInLocation("2006-01-02 15:04", r["date"]+" "+r[e.column], est)
			if err != nil {
				t.Fatal(err)
			}
			within(t, r["date"]+" "+e.column, e.at, want, time.Minute)
			worst = max(worst, e.at.Sub(want).Abs())
		}
	}
	t.Logf("%d days, furthest %s from the printed minute", len(days), worst)
	if len(days) != 183 {
		t.Error("the table has 183 days")
	}
}

// Points of other authorities: testdata/reference/sun-points.csv.
func TestSunPoints(t *testing.T) {
	points := reference(t, "sun-points.csv")
	if len(points) != 8 {
		t.Errorf("%d points, the table has 8", len(points))
	}
	// Nautical twilight stands in the table and is not reckoned: nobody works by it.
	for _, r := range points {
		place := zone(t, strings.Replace(r["time_zone"], "UTC-07", "Etc/GMT+7", 1))
		day, err := time.ParseInLocation(time.DateOnly, r["date"], place)
		if err != nil {
			t.Fatal(err)
		}
		d, err := weather.Sun(number(t, r["lat"]), number(t, r["lon"]), day)
		if err != nil {
			t.Fatal(err)
		}
		// The points service uses a deeper horizon; its transit is plain. The naval
		// observatory prints whole minutes.
		rise, noon := 5*time.Second, 5*time.Second
		switch {
		case r["source"] == "NWS points API":
			rise, noon = 150*time.Second, 40*time.Second
		case strings.Contains(r["source"], "whole minutes"):
			rise, noon = time.Minute, time.Minute
		}
		for _, e := range []struct {
			column    string
			at        time.Time
			tolerance time.Duration
		}{
			{"sunrise", d.Sunrise.At, rise}, {"transit", d.Noon, noon}, {"sunset", d.Sunset.At, rise},
			{"civil_begin", d.CivilDawn.At, rise}, {"civil_end", d.CivilDusk.At, rise},
		} {
			if r[e.column] == "" {
				continue
			}
			want, err := time.Parse(time.RFC3339, r[e.column])
			if err != nil {
				t.Fatal(err)
			}
			within(t, r["source"]+" "+r["date"]+" "+e.column, e.at, want, e.tolerance)
		}
	}
}

// noaaSunset is the dumb twin: the equation of time and the hour angle of NOAA's sheets,
// iterated, in minutes of the day in UT.
func noaaSunset(lat, lon float64, midnightUT time.Time) float64 {
	rad := math.Pi / 180
	minutes := 720 - 4*lon
	for range 6 {
		jd := 2440587.5 + float64(midnightUT.Unix())/86400 + minutes/1440
		T := (jd - 2451545) / 36525
		L0 := math.Mod(280.46646+T*(36000.76983+T*0.0003032), 360)
		M := 357.52911 + T*(35999.05029-0.0001537*T)
		e := 0.016708634 - T*(0.000042037+0.0000001267*T)
		C := math.Sin(M*rad)*(1.914602-T*(0.004817+0.000014*T)) + math.Sin(2*M*rad)*(0.019993-0.000101*T) + math.Sin(3*M*rad)*0.000289
		om := 125.04 - 1934.136*T
		lam := L0 + C - 0.00569 - 0.00478*math.Sin(om*rad)
		eps := 23 + (26+(21.448-T*(46.815+T*(0.00059-T*0.001813)))/60)/60 + 0.00256*math.Cos(om*rad)
		dec := math.Asin(math.Sin(eps*rad) * math.Sin(lam*rad))
		y := math.Pow(math.Tan(eps/2*rad), 2)
		eot := 4 / rad * (y*math.Sin(2*L0*rad) - 2*e*math.Sin(M*rad) + 4*e*y*math.Sin(M*rad)*math.Cos(2*L0*rad) -
			0.5*y*y*math.Sin(4*L0*rad) - 1.25*e*e*math.Sin(2*M*rad))
		ha := math.Acos(math.Cos(90.8333*rad)/(math.Cos(lat*rad)*math.Cos(dec)) - math.Tan(lat*rad)*math.Tan(dec))
		minutes = 720 - 4*lon + 4*ha/rad - eot
	}
	return minutes
}

func TestSunsetAgreesWithTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat, lon := rapid.Float64Range(-60, 60).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")
		midnight := time.Date(1950, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, rapid.IntRange(0, 36500).Draw(t, "day"))
		local := time.FixedZone("", int(math.Round(lon/15))*3600)
		d, err := weather.Sun(lat, lon, time.Date(midnight.Year(), midnight.Month(), midnight.Day(), 3, 0, 0, 0, local))
		if err != nil {
			t.Fatal(err)
		}
		want := midnight.Add(time.Duration(noaaSunset(lat, lon, midnight) * float64(time.Minute)))
		if off := d.Sunset.At.Sub(want); off.Abs() > 10*time.Second {
			t.Fatalf("sunset %s, twin %s", d.Sunset.At, want)
		}
	})
}

// A western crew must be given this evening's sunset, not that of the UT day; and the
// order of the day holds wherever the Sun rises and sets.
func TestSunsetFollowsSunriseOnTheLocalDate(t *testing.T) {
	zones := []*time.Location{zone(t, "America/Denver"), zone(t, "Pacific/Auckland"), zone(t, "America/Anchorage"), zone(t, "Asia/Tokyo"), zone(t, "Europe/Berlin")}
	lons := []float64{-105.2, 174.8, -149.9, 139.7, 13.4}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, len(zones)-1).Draw(t, "zone")
		day := time.Date(2015, 1, 1, rapid.IntRange(0, 23).Draw(t, "hour"), 30, 0, 0, zones[n]).AddDate(0, 0, rapid.IntRange(0, 7300).Draw(t, "day"))
		d, err := weather.Sun(rapid.Float64Range(-58, 58).Draw(t, "lat"), lons[n], day)
		if err != nil {
			t.Fatal(err)
		}
		order := []time.Time{d.CivilDawn.At, d.Sunrise.At, d.Noon, d.Sunset.At, d.CivilDusk.At}
		for i := 1; i < len(order); i++ {
			if !order[i].After(order[i-1]) {
				t.Fatalf("out of order: %v", order)
			}
		}
		for _, at := range order[:4] {
			if at.Format(time.DateOnly) != day.Format(time.DateOnly) {
				t.Fatalf("%s is not on %s", at, day.Format(time.DateOnly))
			}
		}
	})
}

func TestSunThroughTheYearOfThePoles(t *testing.T) {
	for _, c := range []struct {
		what     string
		lat, lon float64
		day      string
		sunset   weather.Never
		dusk     weather.Never
	}{
		{"Barrow in June", 71.29, -156.79, "2023-06-21", weather.StaysAbove, weather.StaysAbove},
		{"Barrow in December", 71.29, -156.79, "2023-12-21", weather.StaysBelow, ""},
		{"white night", 61.2, -149.9, "2023-06-21", "", weather.StaysAbove},
		{"north pole in May", 90, 0, "2023-05-01", weather.StaysAbove, weather.StaysAbove},
		{"south pole in May", -90, 0, "2023-05-20", weather.StaysBelow, weather.StaysBelow},
	} {
		day, err := time.Parse(time.DateOnly, c.day)
		if err != nil {
			t.Fatal(err)
		}
		d, err := weather.Sun(c.lat, c.lon, day)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range []struct {
			name  string
			got   weather.Crossing
			never weather.Never
		}{{"sunset", d.Sunset, c.sunset}, {"dusk", d.CivilDusk, c.dusk}} {
			if e.got.Never != e.never || e.got.At.IsZero() != (e.never != "") {
				t.Errorf("%s, %s: %+v, want %q", c.what, e.name, e.got, e.never)
			}
		}
	}
}

func TestSunRefusesWhatCannotBe(t *testing.T) {
	day := time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC)
	apia := zone(t, "Pacific/Apia")
	for _, c := range []struct {
		what     string
		lat, lon float64
		day      time.Time
	}{
		{"north of the pole", 90.1, 0, day}, {"no number", math.NaN(), 0, day}, {"east of the line", 0, 181, day},
		{"long ago", 0, 0, time.Date(1850, 1, 1, 0, 0, 0, 0, time.UTC)},
		{"the day that Samoa left out", -13.8, -171.8, time.Date(2011, 12, 30, 0, 0, 0, 0, apia)},
	} {
		d, err := weather.Sun(c.lat, c.lon, c.day)
		if c.what == "the day that Samoa left out" {
			// The zone itself turns the 30th into the 31st before it comes here.
			if err != nil || d.Noon.Day() != c.day.Day() {
				t.Errorf("%s: %v, %v", c.what, d.Noon, err)
			}
			continue
		}
		if err == nil {
			t.Errorf("%s: taken", c.what)
		}
	}
}
