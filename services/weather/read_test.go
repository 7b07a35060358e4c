package weather

import (
	"encoding/csv"
	"encoding/json/jsontext"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

const recorded = "../../testdata/weather"

func file(t testing.TB, parts ...string) []byte {
	t.Helper()
	doc, err := os.ReadFile(filepath.Join(append([]string{recorded}, parts...)...))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// rows reads a table of expected values, a map a row.
func rows(t testing.TB, parts ...string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join(append([]string{recorded}, parts...)...))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
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

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// layersOfGrid gives the layer of ours that a layer of the service becomes.
var layersOfGrid = map[string]string{
	"quantitativePrecipitation": "rain", "probabilityOfPrecipitation": "chance", "windSpeed": "wind",
	"windGust": "gust", "windDirection": "wind_from", "temperature": "temp", "dewpoint": "dew",
	"relativeHumidity": "rh", "snowfallAmount": "snow", "iceAccumulation": "ice", "skyCover": "sky",
}

// The expected table was made from the documents by a script of other people's reading;
// each of its columns is held against what the hours say.
func TestGridpointsAgreeWithTable(t *testing.T) {
	flagged := map[string]bool{}
	for _, r := range rows(t, "flags.csv") {
		parts := strings.Split(r["file"], "/")
		flagged[parts[1]+"/"+parts[2]+"/"+r["layer"]] = true
	}
	cases := 0
	for _, r := range rows(t, "expected-gridpoints.csv") {
		name := r["case"] + "/" + r["layer"]
		t.Run(name, func(t *testing.T) {
			f, err := Read(file(t, r["case"], "gridpoint.json"))
			if err != nil {
				t.Fatal(err)
			}
			if f.Kind != KindGridpoint || f.Issued.IsZero() || f.Place == "" {
				t.Errorf("kind %q, issued %v, place %q", f.Kind, f.Issued, f.Place)
			}
			checkIntervals(t, r)
			checkGrid(t, f, r, flagged[r["case"]+"/gridpoint.json/"+r["layer"]])
		})
		cases++
	}
	t.Logf("%d rows", cases)
	if cases != 85 {
		t.Error("the table has 85 rows")
	}
}

// checkIntervals holds what the table says of a layer's intervals as they stand: how many there
// are, how many are null, how long they are, where they begin and end, and how they overlap.
func checkIntervals(t *testing.T, r map[string]string) {
	s := seriesOf(t, file(t, r["case"], "gridpoint.json"), r["layer"])
	nulls, overlaps := 0, 0
	lengths := map[string]bool{}
	for text := range strings.FieldsSeq(r["distinct_durations"]) {
		d, ok := parseDuration(text)
		if !ok {
			t.Fatalf("%s is no duration", text)
		}
		lengths[d.String()] = false
	}
	reach := time.Time{}
	for n, i := range s.intervals {
		if !i.value.Known {
			nulls++
		}
		if _, ok := lengths[i.length().String()]; !ok {
			t.Errorf("an interval of %s, the table has %s", i.length(), r["distinct_durations"])
		}
		lengths[i.length().String()] = true
		if n > 0 && i.start.Before(reach) {
			overlaps++
		}
		if i.end.After(reach) {
			reach = i.end
		}
	}
	for length, seen := range lengths {
		if !seen {
			t.Errorf("no interval of %s", length)
		}
	}
	for _, c := range []struct {
		column string
		got    int
	}{{"n_intervals", len(s.intervals)}, {"n_null", nulls}, {"overlaps", overlaps}} {
		if want := int(number(t, r[c.column])); c.got != want {
			t.Errorf("%s is %d, want %d", c.column, c.got, want)
		}
	}
	if first := s.intervals[0].start; !first.Equal(clock(t, r["first_valid"])) || !reach.Equal(clock(t, r["last_end"])) {
		t.Errorf("it runs from %s to %s", first, reach)
	}
}

// seriesOf reads one layer of a gridpoint as intervals in our unit.
func seriesOf(t *testing.T, doc []byte, where string) series {
	t.Helper()
	var d struct {
		Properties map[string]jsontext.Value `json:"properties"`
	}
	var g gridLayer
	if err := decode(doc, "document", &d); err != nil {
		t.Fatal(err)
	}
	if err := decode(d.Properties[where], where, &g); err != nil {
		t.Fatal(err)
	}
	s, note, err := g.series(layerNamed(layersOfGrid[where]), where)
	if err != nil || note != nil && note.Code != NoteNotGiven {
		t.Fatal(where, note, err)
	}
	return s
}

func checkGrid(t *testing.T, f Forecast, r map[string]string, flagged bool) {
	l := layerNamed(layersOfGrid[r["layer"]])
	back := 1.0 // from our unit to the document's
	if r["unit"] == "wmoUnit:km_h-1" {
		back = 3.6
	}
	first, last := clock(t, r["first_valid"]), clock(t, r["last_end"])
	var sum, day float64
	lo, hi := math.Inf(1), math.Inf(-1)
	known, over := 0, 0
	for n := range f.Hours {
		h := &f.Hours[n]
		v := *l.at(h)
		if !v.Known {
			continue
		}
		known++
		if h.Time.Before(first) || !h.Time.Before(last) {
			t.Fatalf("%s is known outside %s to %s", h.Time, first, last)
		}
		lo, hi = min(lo, v.V*back), max(hi, v.V*back)
		sum += v.V
		if h.Time.Before(first.Add(24 * time.Hour)) {
			day += v.V
		}
		if v.V != 0 { // the table's column counts cold hours too
			over++
		}
	}
	if flagged {
		if hi > l.hi {
			t.Errorf("%g %s was taken over", hi, l.unit)
		}
		if !slices.ContainsFunc(f.Told, func(n Note) bool { return n.Code == NoteAbsurd && n.Where == r["layer"] }) {
			t.Errorf("the edited values are not told: %v", f.Told)
		}
		return
	}
	gaps := 0
	for _, n := range f.Told {
		if n.Code == NoteGap && n.Where == r["layer"] {
			gaps++
		}
	}
	if want := int(number(t, r["gaps"])); gaps != want {
		t.Errorf("%d gaps told, want %d", gaps, want)
	}
	if r["n_null"] == "0" && gaps == 0 && known != int(last.Sub(first).Hours()) {
		t.Errorf("%d hours known of %s to %s", known, first, last)
	}
	if want := int(number(t, r["hours_over_zero"])); over != want {
		t.Errorf("%d hours over zero, want %d", over, want)
	}
	if l.amount {
		near(t, "sum", sum, number(t, r["sum"]), 1e-6) // the table prints six decimals
		near(t, "first day", day, number(t, r["sum_first_24h_prorated"]), 1e-6)
		return
	}
	near(t, "min", lo, number(t, r["min"]), 1e-9)
	near(t, "max", hi, number(t, r["max"]), 1e-9)
	start, _, _ := strings.Cut(r["max_valid"], "/")
	h, ok := f.At(clock(t, start))
	if at := l.at(&h); !ok || !at.Known || math.Abs(at.V*back-number(t, r["max"])) > 1e-9 {
		t.Errorf("at %s stands %v, want the maximum %s", start, *at, r["max"])
	}
}

func clock(t *testing.T, s string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s %v, want %v within %g", what, got, want, tolerance)
	}
}

// An amount is spread, never made or lost: the hours add up to the intervals, of rain, snow and
// ice, and over any stretch of whole intervals.
func TestSpreadConservesAmounts(t *testing.T) {
	compared := 0
	for name, doc := range recordedDocs(t, "gridpoint.json") {
		f, err := Read(doc)
		if err != nil {
			t.Fatal(name, err)
		}
		for _, where := range []string{"quantitativePrecipitation", "snowfallAmount", "iceAccumulation"} {
			s := seriesOf(t, doc, where) // without intervals where the document has none of it
			var want, got float64
			hour := 0
			for _, i := range s.intervals {
				want += i.value.V
				for ; hour < len(f.Hours) && f.Hours[hour].Time.Before(i.end); hour++ {
					got += s.at(&f.Hours[hour]).V
				}
				near(t, name+" "+where+" until "+stamp(i.end), got, want, 1e-9*max(1, want))
				compared++
			}
		}
	}
	t.Logf("%d sums compared", compared)
	if compared < 300 {
		t.Error("too few to mean anything")
	}
}

// The hourly forecasts were recorded beside the gridpoints of the same place; where both
// speak of an hour they must agree, though one is text in mph and °F.
func TestHourlyAgreesWithGridpoint(t *testing.T) {
	docs, _ := filepath.Glob(filepath.Join(recorded, "*", "forecast-hourly.json"))
	if len(docs) == 0 {
		t.Fatal("no recorded hourly forecasts")
	}
	for _, path := range docs {
		name := filepath.Base(filepath.Dir(path))
		hourly, err := Read(file(t, name, "forecast-hourly.json"))
		if err != nil {
			t.Fatal(name, err)
		}
		if hourly.Kind != KindHourly || hourly.Place == "" || hourly.Issued.IsZero() {
			t.Errorf("%s: kind %s, place %q, issued %v", name, hourly.Kind, hourly.Place, hourly.Issued)
		}
		grid, err := Read(file(t, name, "gridpoint.json"))
		if err != nil {
			t.Fatal(name, err)
		}
		compared := 0
		for _, h := range hourly.Hours {
			g, ok := grid.At(h.Time)
			if !ok || !g.TempC.Known || !g.WindMS.Known || !g.DewC.Known {
				continue
			}
			compared++
			// Whole °F, and mph that some offices round to 5.
			if name != "sew-2026-03-04" { // its temperatures were edited by hand: flags.csv
				near(t, name+" temp "+stamp(h.Time), h.TempC.V, g.TempC.V, 0.3)
			}
			near(t, name+" wind "+stamp(h.Time), h.WindMS.V, g.WindMS.V, 2.6*MSPerMPH+0.15)
			near(t, name+" dew "+stamp(h.Time), h.DewC.V, g.DewC.V, 1e-9)
		}
		if compared < 100 {
			t.Errorf("%s: only %d hours compared", name, compared)
		}
	}
}
