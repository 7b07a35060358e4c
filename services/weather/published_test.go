package weather_test

import (
	"encoding/csv"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// row is one published value.
type row struct {
	topic, name                                           string
	inputs, expected, unit, tolerance, source, provenance string
}

// verdict is what a row is to us, one of three: a check, whose value ours computes; an input
// of another row's check; or no check, and why.
type verdict struct {
	check func(*testing.T, row) any
	feeds string // name of the row whose check takes this one's figure
	none  string
}

// A check answers with a float64, string or time.Time that must be the printed one within its
// tolerance, or with a bound, where the published figure is a limit that ours must keep.
type (
	atLeast float64
	atMost  float64
)

// verdicts gathers what the files published_*_test.go say. A check may be for all rows whose names
// begin alike; an input and a row that is no check are named whole, so that a new row
// cannot slip in under them.
var verdicts = joined(roofRows, metalRows, windRows, waterRows, airRows, safetyRows, workRows)

func joined(all ...map[string]verdict) map[string]verdict {
	out := map[string]verdict{}
	for _, some := range all {
		for name, v := range some {
			if _, twice := out[name]; twice {
				panic("two verdicts on " + name)
			}
			out[name] = v
		}
	}
	return out
}

func check(f func(*testing.T, row) any) verdict { return verdict{check: f} }
func feeds(name string) verdict                 { return verdict{feeds: name} }
func none(why string) verdict                   { return verdict{none: why} }

// in reads a numeric input; a row that lacks it fails the test at once.
func (r row) in(t *testing.T, key string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r.text(t, key), 64)
	if err != nil {
		t.Fatalf("%s: input %s: %v", r.name, key, err)
	}
	return v
}

func (r row) text(t *testing.T, key string) string {
	t.Helper()
	for pair := range strings.SplitSeq(r.inputs, ";") {
		if name, value, ok := strings.Cut(pair, "="); ok && name == key {
			return value
		}
	}
	t.Fatalf("%s has no input %s", r.name, key)
	return ""
}

// value is the printed number.
func (r row) value(t *testing.T) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r.expected, 64)
	if err != nil {
		t.Fatalf("%s: %v", r.name, err)
	}
	return v
}

// read remembers which rows' figures went into a check, by "row, check".
var read = map[string]bool{}

// figure is another row's printed number, as an input of r's check.
func (r row) figure(t *testing.T, name string) float64 {
	t.Helper()
	for _, other := range published(t) {
		if other.name == name {
			read[name+", "+r.name] = true
			return other.value(t)
		}
	}
	t.Fatalf("no row %s", name)
	return 0
}

func published(t *testing.T) []row {
	t.Helper()
	f, err := os.Open("../../testdata/checks/published.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []row
	for _, c := range all[1:] {
		out = append(out, row{c[0], c[1], c[2], c[3], c[4], c[5], c[6], c[7]})
	}
	return out
}

// TestPublishedValues goes through every row of the published table. A row without source,
// unit or tolerance fails, and so does one without a verdict, an input that no check reads,
// and a verdict on no row.
func TestPublishedValues(t *testing.T) {
	used, count := map[string]bool{}, map[string]int{}
	var inputs []row
	for _, r := range published(t) {
		if r.source == "" || r.unit == "" || r.tolerance == "" || r.provenance != "seen" && r.provenance != "memory" {
			t.Errorf("%s: a row needs source, unit, tolerance and provenance", r.name)
		}
		name, v := verdictOn(r.name)
		used[name] = true
		switch {
		case v.check != nil:
			count["checked"]++
			t.Run(r.topic+"/"+r.name, func(t *testing.T) {
				got := v.check(t, r)
				t.Logf("%v %s; printed %s within %s: %s (%s)", got, r.unit, r.expected, r.tolerance, r.source, r.provenance)
				compare(t, r, got)
			})
		case v.feeds != "":
			count["inputs"]++
			inputs = append(inputs, r)
		case v.none != "":
			count["no check"]++
			t.Logf("%s/%s is no check: %s. %s %s: %s (%s)", r.topic, r.name, v.none, r.expected, r.unit, r.source, r.provenance)
		default:
			t.Errorf("%s/%s: neither checked, nor an input, nor listed with a reason", r.topic, r.name)
		}
	}
	for _, r := range inputs {
		if to := verdicts[r.name].feeds; !read[r.name+", "+to] {
			t.Errorf("%s: the check of %s does not read it", r.name, to)
		}
	}
	for name := range verdicts {
		if !used[name] {
			t.Errorf("the verdict on %s is on no row", name)
		}
	}
	for _, what := range slices.Sorted(maps.Keys(count)) {
		t.Logf("%d rows: %s", count[what], what)
	}
}

// verdictOn finds what is said of a row: of its whole name, or as a check of the longest
// beginning of it.
func verdictOn(name string) (string, verdict) {
	if v, ok := verdicts[name]; ok {
		return name, v
	}
	best := ""
	for prefix, v := range verdicts {
		if v.check != nil && strings.HasPrefix(name, prefix) && len(prefix) > len(best) {
			best = prefix
		}
	}
	return best, verdicts[best]
}

func compare(t *testing.T, r row, got any) {
	t.Helper()
	switch got := got.(type) {
	case string:
		if got != r.expected {
			t.Errorf("%s: %q, printed %q", r.name, got, r.expected)
		}
	case time.Time:
		compareClock(t, r, got)
	case atLeast:
		if want := r.value(t); !(float64(got) >= want-1e-9) {
			t.Errorf("%s: %v, published least %v", r.name, got, want)
		}
	case atMost:
		if want := r.value(t); !(float64(got) <= want+1e-9) {
			t.Errorf("%s: %v, published most %v", r.name, got, want)
		}
	case float64:
		want := r.value(t)
		tolerance := 0.0
		if r.tolerance != "exact" {
			var err error
			if tolerance, err = strconv.ParseFloat(r.tolerance, 64); err != nil {
				t.Fatal(err)
			}
		}
		// Tolerance 0 is exact as printed: the last bits of a product do not count.
		if !(math.Abs(got-want) <= tolerance+1e-12*math.Abs(want)) {
			t.Errorf("%s: %v, printed %v within %v", r.name, got, want, tolerance)
		}
	default:
		t.Fatalf("%s: a %T cannot be compared", r.name, got)
	}
}

// compareClock holds a time of day against the printed one, to the second or the minute.
func compareClock(t *testing.T, r row, got time.Time) {
	t.Helper()
	form, tolerance := "15:04:05", 5*time.Second
	if strings.Count(r.expected, ":") == 1 {
		form = "15:04"
	}
	if r.tolerance == "1 min" {
		tolerance = time.Minute
	}
	want, err := time.Parse(form, r.expected)
	if err != nil {
		t.Fatal(err)
	}
	have := time.Date(0, 1, 1, got.Hour(), got.Minute(), got.Second(), got.Nanosecond(), time.UTC)
	if d := have.Sub(want); d.Abs() > tolerance {
		t.Errorf("%s: %s, printed %s", r.name, got.Format("15:04:05"), r.expected)
	}
}

// The test of the table must itself be able to fail.
func TestPublishedRowsCannotSlipIn(t *testing.T) {
	for _, name := range []string{"anything", "nws_new", "ul_endlap_new", "C_roof_2", "pfas_new", "f_new"} {
		if best, v := verdictOn(name); v.feeds+v.none != "" {
			t.Errorf("%s would be let through as %s", name, best)
		}
	}
}
