package weather

import (
	"bytes"
	"encoding/json/v2"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
)

// grid makes a small gridpoint document of one rain and one temperature layer.
func grid(rain, temp string) string {
	return `{"properties":{"updateTime":"2024-01-08T15:00:00+00:00","validTimes":"2024-01-08T15:00:00+00:00/P1D","gridId":"AAA","gridX":1,"gridY":"2",` +
		`"quantitativePrecipitation":` + rain + `,"temperature":` + temp + `}}`
}

const (
	okRain = `{"uom":"wmoUnit:mm","values":[{"validTime":"2024-01-08T15:00:00+00:00/PT6H","value":6}]}`
	okTemp = `{"uom":"wmoUnit:degC","values":[{"validTime":"2024-01-08T15:00:00+00:00/PT6H","value":4}]}`
)

// A document that says something wrong is refused whole.
func TestReadRefuses(t *testing.T) {
	deep := strings.Repeat("[", 100_000) + strings.Repeat("]", 100_000)
	for _, c := range []struct{ what, doc, code string }{
		{"empty", "", CodeNothing},
		{"space", " \n\t ", CodeNothing},
		{"cut off", grid(okRain, okTemp)[:180], CodeUnreadable},
		{"text after it", grid(okRain, okTemp) + "x", CodeUnreadable},
		{"two documents", grid(okRain, okTemp) + grid(okRain, okTemp), CodeUnreadable},
		{"a layer twice", strings.Replace(grid(okRain, okTemp), `"temperature"`, `"quantitativePrecipitation"`, 1), CodeUnreadable},
		{"bad UTF-8", strings.Replace(grid(okRain, okTemp), "AAA", "A\xff\xfe", 1), CodeUnreadable},
		{"a number no float holds", grid(strings.Replace(okRain, ":6}", ":1e999}", 1), okTemp), CodeUnreadable},
		{"a value in words", grid(strings.Replace(okRain, ":6}", `:"six"}`, 1), okTemp), CodeUnreadable},
		{"a layer that is a list", grid("[]", okTemp), CodeUnreadable},
		{"an interval without a zone", grid(strings.Replace(okRain, "+00:00/", "/", 1), okTemp), CodeUnreadable},
		{"an interval of no length", grid(strings.Replace(okRain, "PT6H", "PT0H", 1), okTemp), CodeUnreadable},
		{"an interval of months", grid(strings.Replace(okRain, "PT6H", "P1M", 1), okTemp), CodeUnreadable},
		{"an interval that goes back", grid(strings.Replace(okRain, "PT6H", "2024-01-08T14:00:00+00:00", 1), okTemp), CodeUnreadable},
		{"a forecast of a century", grid(strings.Replace(okRain, "PT6H", "P300D", 1), okTemp), CodeTooLarge},
		{"the clock leaps", grid(okRain, `{"uom":"wmoUnit:degC","values":[{"validTime":"2024-01-08T15:00:00+00:00/PT1H","value":4},{"validTime":"2024-01-08T16:00:00-05:00/PT1H","value":4}]}`), CodeZoneLeap},
		{"the clock leaps back", grid(okRain, `{"uom":"wmoUnit:degC","values":[{"validTime":"2024-01-08T15:00:00+00:00/PT1H","value":4},{"validTime":"2024-01-08T16:00:00+05:00/PT1H","value":4}]}`), CodeZoneLeap},
		{"no layer with values", grid(`{"values":[]}`, `{"values":[]}`), CodeNothing},
		{"no layer in a known unit", grid(strings.Replace(okRain, "wmoUnit:mm", "wmoUnit:fathom", 1), strings.Replace(okTemp, "degC", "rankine", 1)), CodeNothing},
		{"alerts", `{"type":"FeatureCollection","features":[]}`, CodeUnknown},
		{"something else", `{"type":"Feature","properties":{"name":"x"}}`, CodeUnknown},
		{"a list", `[]`, CodeUnreadable},
		{"depth", deep, CodeUnreadable},
		{"too many bytes", strings.Repeat(" ", maxDocument) + "{}", CodeTooLarge},
		{"too many intervals", grid(`{"uom":"wmoUnit:mm","values":[`+strings.TrimSuffix(strings.Repeat(`{"validTime":"2024-01-08T15:00:00+00:00/PT6H","value":6},`, maxIntervals+1), ",")+`]}`, okTemp), CodeTooLarge},
		{"a period that ends before it starts", `{"properties":{"periods":[{"startTime":"2026-03-08T02:00:00-05:00","endTime":"2026-03-08T01:00:00-05:00"}]}}`, CodeUnreadable},
		{"no period", `{"properties":{"periods":[]}}`, CodeNothing},
		{"wind in words", `{"properties":{"periods":[{"startTime":"2026-03-08T02:00:00-05:00","endTime":"2026-03-08T03:00:00-05:00","windSpeed":"breezy today"}]}}`, CodeUnreadable},
		{"temperature in words", `{"properties":{"periods":[{"startTime":"2026-03-08T02:00:00-05:00","endTime":"2026-03-08T03:00:00-05:00","temperature":"warm"}]}}`, CodeUnreadable},
		{"CSV: no time column", "rain_mm\n1\n", CodeUnknown},
		{"CSV: time alone", "time\n2026-03-04T13:00:00-05:00\n", CodeNothing},
		{"CSV: header alone", "time,rain_mm\n", CodeNothing},
		{"CSV: unknown column", "time,rain\n2026-03-04T13:00:00-05:00,1\n", CodeUnknown},
		{"CSV: rain in two units", "time,rain_mm,rain_in\n2026-03-04T13:00:00-05:00,1,1\n", CodeDoubled},
		{"CSV: cut in a row", "time,rain_mm,temp_c\n2026-03-04T13:00:00-05:00,1,4\n2026-03-04T14:00:00-05:00,1", CodeUnreadable},
		{"CSV: no zone", "time,rain_mm\n2026-03-04T13:00:00,1\n", CodeUnreadable},
		{"CSV: a word", "time,rain_mm\n2026-03-04T13:00:00-05:00,much\n", CodeUnreadable},
		{"CSV: NaN", "time,rain_mm\n2026-03-04T13:00:00-05:00,NaN\n", CodeUnreadable},
		{"CSV: less than no rain", "time,rain_mm\n2026-03-04T13:00:00-05:00,-1\n", CodeOutOfRange},
		{"CSV: hotter than weather", "time,temp_f\n2026-03-04T13:00:00-05:00,150\n", CodeOutOfRange},
		{"CSV: an hour twice", "time,rain_mm\n2026-03-04T13:00:00-05:00,1\n2026-03-04T13:00:00-05:00,2\n", CodeDoubled},
		{"CSV: back in time", "time,rain_mm\n2026-03-04T14:00:00-05:00,1\n2026-03-04T13:00:00-05:00,2\n", CodeDoubled},
		{"CSV: the clock leaps", "time,rain_mm\n2026-03-04T13:00:00-05:00,1\n2026-03-04T14:00:00-08:00,2\n", CodeZoneLeap},
		{"CSV: issued twice", "# issued: 2026-03-04T12:00:00Z\n# issued: 2026-03-04T13:00:00Z\ntime,rain_mm\n2026-03-04T14:00:00Z,1\n", CodeDoubled},
		{"CSV: an open quote", "time,rain_mm\n\"2026-03-04T13:00:00-05:00,1\n", CodeUnreadable},
		{"own: a member too many", `{"hours":[{"time":"2026-03-04T13:00:00Z","rain_inch":1}]}`, CodeUnreadable},
		{"own: no hour", `{"hours":[]}`, CodeNothing},
		{"own: half an hour", `{"hours":[{"time":"2026-03-04T13:30:00Z"}]}`, CodeOutOfRange},
		{"own: an hour missing", `{"hours":[{"time":"2026-03-04T13:00:00Z"},{"time":"2026-03-04T15:00:00Z"}]}`, CodeUnreadable},
		{"own: rain up", `{"hours":[{"time":"2026-03-04T13:00:00Z","rain_mm":-2}]}`, CodeOutOfRange},
	} {
		f, err := Read([]byte(c.doc))
		var r *events.Refusal
		switch {
		case !errors.As(err, &r):
			t.Errorf("%s: %v, want a refusal", c.what, err)
		case r.Code != c.code:
			t.Errorf("%s: %s (%v), want %s", c.what, r.Code, r, c.code)
		case r.Where == "" || r.Want == "":
			t.Errorf("%s: the refusal does not say where or what would be right: %+v", c.what, r)
		case f.Hours != nil:
			t.Errorf("%s: refused and half taken: %+v", c.what, f)
		case strings.ContainsAny(err.Error(), "\n\r"):
			t.Errorf("%s: more than a line: %q", c.what, err)
		}
	}
}

// What is doubtful is told and left unknown, and the rest is taken.
func TestReadTells(t *testing.T) {
	at := func(f Forecast, hour int, layer string) Reading { return *layerNamed(layer).at(&f.Hours[hour]) }
	for _, c := range []struct {
		what, doc, code, layer string
		unknown, known         []int // hours from the first
	}{
		{"200 degrees", grid(okRain, strings.Replace(okTemp, ":4}", ":200}", 1)), NoteAbsurd, "temp", []int{0, 5}, nil},
		{"a cubit of rain", grid(strings.Replace(okRain, "wmoUnit:mm", "wmoUnit:cubit", 1), okTemp), NoteUnit, "rain", []int{0, 5}, nil},
		{"rain in metres", grid(strings.Replace(okRain, "wmoUnit:mm", "wmoUnit:m", 1), okTemp), NoteAbsurd, "rain", []int{0, 5}, nil},
		{"rain in degrees", grid(strings.Replace(okRain, "wmoUnit:mm", "wmoUnit:degC", 1), okTemp), NoteUnit, "rain", []int{0}, nil},
		{"no unit", grid(strings.Replace(okRain, `"uom":"wmoUnit:mm",`, "", 1), okTemp), NoteUnit, "rain", []int{0}, nil},
		{"less than no rain", grid(strings.Replace(okRain, ":6}", ":-6}", 1), okTemp), NoteAbsurd, "rain", []int{0}, nil},
		{"a gap", grid(strings.Replace(okRain, "]", `,{"validTime":"2024-01-08T23:00:00+00:00/PT1H","value":1}]`, 1), okTemp), NoteGap, "rain", []int{6, 7}, []int{0, 5, 8}},
		{"an overlap", grid(strings.Replace(okRain, "]", `,{"validTime":"2024-01-08T20:00:00+00:00/PT2H","value":1}]`, 1), okTemp), NoteOverlap, "rain", []int{5}, []int{0, 4, 6}},
		{"an interval twice", grid(okRain, strings.Replace(okTemp, "]", `,{"validTime":"2024-01-08T15:00:00+00:00/PT6H","value":9}]`, 1)), NoteOverlap, "temp", []int{0, 5}, nil},
		{"null", grid(strings.Replace(okRain, ":6}", ":null}", 1), okTemp), NoteNotGiven, "rain", []int{0, 5}, nil},
		{"issued after its end", strings.Replace(grid(okRain, okTemp), `"updateTime":"2024`, `"updateTime":"2025`, 1), NoteIssued, "rain", nil, []int{0}},
		{"issued in words", strings.Replace(grid(okRain, okTemp), `"updateTime":"2024-01-08T15:00:00+00:00"`, `"updateTime":"today"`, 1), NoteIssued, "rain", nil, []int{0}},
		{"no line end", "time,rain_mm\n2026-03-04T13:00:00Z,1", NoteMayBeCut, "rain", nil, []int{0}},
		{"an hour left out", "time,rain_mm\n2026-03-04T13:00:00Z,1\n2026-03-04T15:00:00Z,1\n", NoteGap, "rain", []int{1}, []int{0, 2}},
	} {
		f, err := Read([]byte(c.doc))
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		if !slices.ContainsFunc(f.Told, func(n Note) bool { return n.Code == c.code && n.Text != "" && n.Where != "" }) {
			t.Errorf("%s: not told: %+v", c.what, f.Told)
		}
		for _, h := range c.unknown {
			if r := at(f, h, c.layer); r.Known {
				t.Errorf("%s: hour %d has %g", c.what, h, r.V)
			}
		}
		for _, h := range c.known {
			if r := at(f, h, c.layer); !r.Known {
				t.Errorf("%s: hour %d is not known", c.what, h)
			}
		}
	}
}

// An hour that two levels fill alike has the earlier one, and the one that fills more of it
// otherwise; an amount is judged by the hour, so that a long interval may hold much.
func TestLevelsAndLongAmounts(t *testing.T) {
	temp := func(split string) string {
		return `{"uom":"wmoUnit:degC","values":[{"validTime":"2024-01-08T15:00:00+00:00/` + split + `","value":4},{"validTime":"2024-01-08T16:30:00+00:00/PT30M","value":9}]}`
	}
	f, err := Read([]byte(grid(strings.Replace(strings.Replace(okRain, "PT6H", "P1D", 1), ":6}", ":600}", 1), temp("PT1H30M"))))
	if err != nil {
		t.Fatal(err)
	}
	if got := f.Hours[1].TempC; got != Known(4) {
		t.Errorf("half and half reads %v", got)
	}
	if got := f.Hours[0].RainMM; !got.Known || got.V != 25 {
		t.Errorf("600 mm of a day give %v an hour", got)
	}
	later := strings.Replace(strings.Replace(temp("PT1H20M"), "T16:30:00+00:00/PT30M", "T16:20:00+00:00/PT40M", 1), "16:30", "16:20", 1)
	if f, err = Read([]byte(grid(okRain, later))); err != nil || f.Hours[1].TempC != Known(9) {
		t.Errorf("twenty and forty minutes: %v, %v", err, f.Hours[1].TempC)
	}
}

// Every recorded document, cut off anywhere, is refused.
func TestCutOffIsRefused(t *testing.T) {
	doc := file(t, "ohx-2024-01-08", "gridpoint.json")
	for cut := 1; cut < len(bytes.TrimSpace(doc)); cut += 997 {
		if f, err := Read(doc[:cut]); err == nil {
			t.Fatalf("cut after %d of %d bytes: %d hours taken", cut, len(doc), len(f.Hours))
		}
	}
}

// The same sky in the units of both sides of the ocean.
func TestCSVUnits(t *testing.T) {
	ours, err := Read([]byte("# issued: 2026-03-04T12:00:00-05:00\n# place: yard\ntime,rain_mm,chance_pct,wind_ms,gust_ms,wind_from_deg,temp_c,dew_c\n" +
		"2026-03-04T13:00:00-05:00/PT2H,25.4,60,4.4704,8.9408,200,10,5\n2026-03-04T15:00:00-05:00,,,,,,,\n"))
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := Read([]byte("# issued: 2026-03-04T17:00:00Z\n# place: yard\ntime,rain_in,chance_pct,wind_mph,gust_mph,wind_from_deg,temp_f,dew_f\n" +
		"2026-03-04T18:00:00Z/PT2H,1,60,10,20,200,50,41\n2026-03-04T20:00:00Z,,,,,,,\n"))
	if err != nil {
		t.Fatal(err)
	}
	if len(ours.Hours) != 3 || ours.Place != "yard" || !ours.Issued.Equal(theirs.Issued) {
		t.Fatalf("%+v", ours)
	}
	for n := range ours.Hours {
		for _, l := range layers {
			a, b := *l.at(&ours.Hours[n]), *l.at(&theirs.Hours[n])
			if a.Known != b.Known {
				t.Errorf("hour %d, %s: %v and %v", n, l.name, a, b)
			}
			near(t, l.name, a.V, b.V, 1e-9)
		}
	}
	near(t, "half the rain", ours.Hours[1].RainMM.V, 12.7, 1e-12)
}

// What is printed reads back the same, and with the members that others rely on.
func TestForecastPrintsAndReadsBack(t *testing.T) {
	f, err := Read(file(t, "ohx-2024-01-08", "gridpoint.json"))
	if err != nil {
		t.Fatal(err)
	}
	printed, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	back, err := Read(printed)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(f, back) {
		t.Error("the forecast changed on its way through its own print")
	}
	for _, member := range []string{`"issued":"2024-01-08T21:44:30Z"`, `"place":"OHX/14,55"`, `"hours":[{"time":"2024-01-08T15:00:00Z","rain_mm":0,"chance_pct":0,"wind_ms":`, `"gust_ms":`, `"wind_from_deg":120`, `"temp_c":`, `"dew_c":`, `"temp_c":-1.1111`, `null`} {
		if !strings.Contains(string(printed), member) {
			t.Errorf("the print lacks %s", member)
		}
	}
}

// Where the clock changes for daylight saving the hours fit together and are taken.
func TestDaylightSavingIsNoLeap(t *testing.T) {
	f, err := Read(file(t, "mpx-2026-03-04", "forecast-hourly.json"))
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 3, 8, 7, 0, 0, 0, time.UTC)
	for range 3 {
		if h, ok := f.At(at); !ok || !h.TempC.Known {
			t.Errorf("%s: %v", at, h)
		}
		at = at.Add(time.Hour)
	}
}

func TestDurations(t *testing.T) {
	for s, want := range map[string]time.Duration{
		"PT1H": time.Hour, "PT13H": 13 * time.Hour, "P1D": 24 * time.Hour, "P1DT6H": 30 * time.Hour, "P7DT13H": 181 * time.Hour,
		"P8DT6H": 198 * time.Hour, "PT30M": 30 * time.Minute, "PT1H30M": 90 * time.Minute, "P1W": 168 * time.Hour, "PT45S": 45 * time.Second,
		"": 0, "P": 0, "PT": 0, "P1": 0, "1H": 0, "PT1D": 0, "P1H": 0, "PT1H1H": 0, "PT1M1H": 0, "P1Y": 0, "P1M": 0, "PT-1H": 0, "PT1.5H": 0, "P1DT": 0, "P999999D": 0, "PT1HT1H": 0, "PT99999999999H": 0,
	} {
		got, ok := parseDuration(s)
		if ok != (want > 0) || ok && got != want {
			t.Errorf("%q: %s, %v; want %s", s, got, ok, want)
		}
	}
}

// F51: whatever comes in, Read answers with a refusal or with whole hours in order and nothing
// that no weather has.
func FuzzRead(f *testing.F) {
	f.Add([]byte(grid(okRain, okTemp)))
	f.Add([]byte("# issued: 2026-03-04T12:00:00Z\ntime,rain_mm,temp_f\n2026-03-04T13:00:00-05:00/PT6H,1,40\n"))
	f.Add([]byte(`{"hours":[{"time":"2026-03-04T13:00:00Z","rain_mm":null}]}`))
	f.Add([]byte(`{"geometry":{"coordinates":[[[1,2],[3,4]]]},"properties":{"periods":[{"startTime":"2026-03-08T01:00:00-06:00","endTime":"2026-03-08T03:00:00-05:00","temperature":{"unitCode":"wmoUnit:degC","value":3},"windSpeed":"2 to 7 mph","windDirection":"NNW"}]}}`))
	f.Fuzz(func(t *testing.T, doc []byte) {
		forecast, err := Read(doc)
		if err != nil {
			if events.RefusalIn(err) == nil {
				t.Fatalf("a fault and no refusal: %v", err)
			}
			return
		}
		if len(forecast.Hours) == 0 || len(forecast.Hours) > maxHours {
			t.Fatalf("%d hours", len(forecast.Hours))
		}
		for n := range forecast.Hours {
			h := &forecast.Hours[n]
			if n > 0 && h.Time.Sub(forecast.Hours[n-1].Time) != time.Hour {
				t.Fatal("a hole in the hours")
			}
			for _, l := range layers {
				if r := *l.at(h); r.Known && !(r.V >= l.lo-1e-6 && r.V <= l.hi*1.000001+1e-6) {
					t.Fatalf("%s of %g was taken over", l.name, r.V)
				}
			}
		}
		if _, err := json.Marshal(forecast); err != nil {
			t.Fatal(err)
		}
		Sniff(doc)
	})
}

// The costliest documents stay inside bounds: the figure to watch is bytes and
// nanoseconds an operation, 10 MB and 50 ms asked.
func BenchmarkReadCostly(b *testing.B) {
	var overlapping strings.Builder
	for n := range maxIntervals {
		fmt.Fprintf(&overlapping, `{"validTime":"2024-01-08T15:%02d:00+00:00/P30D","value":6},`, n%60)
	}
	layer := `{"uom":"wmoUnit:mm","values":[` + strings.TrimSuffix(overlapping.String(), ",") + `]}`
	for _, c := range []struct {
		name string
		doc  []byte
	}{
		{"overlaps", []byte(grid(layer, strings.ReplaceAll(layer, "mm", "degC")))},
		{"storm", file(b, "ohx-2024-01-08", "gridpoint.json")},
		{"depth", []byte(strings.Repeat(`{"a":`, 200_000))},
		{"members", []byte(manyMembers(150_000))},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, err := Read(c.doc)
				if events.RefusalIn(err) == nil && err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func manyMembers(n int) string {
	var s strings.Builder
	s.WriteString(`{"x":0`)
	for i := range n {
		fmt.Fprintf(&s, `,"m%d":%d`, i, i)
	}
	s.WriteString("}")
	return s.String()
}
