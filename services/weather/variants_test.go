package weather

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bydark/events"
)

// recordedDocs are the recorded documents of one name, by case.
func recordedDocs(t testing.TB, name string) map[string][]byte {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(recorded, "*", name))
	if err != nil || len(paths) == 0 {
		t.Fatal(name, err)
	}
	docs := map[string][]byte{}
	for _, path := range paths {
		doc, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		docs[filepath.Base(filepath.Dir(path))+"/"+filepath.Base(path)] = doc
	}
	return docs
}

// Every recorded document, cut off at any sixteenth and a byte around it, is refused by every
// reader.
func TestRecordedCutOff(t *testing.T) {
	docs, cuts := recordedDocs(t, "*.json"), 0
	for name, doc := range docs {
		whole := len(bytes.TrimSpace(doc))
		for sixteenth := range 17 {
			for _, cut := range []int{whole*sixteenth/16 - 1, whole * sixteenth / 16, whole*sixteenth/16 + 1} {
				if cut < 0 || cut >= whole {
					continue
				}
				_, forecast := Read(doc[:cut])
				_, alert := ReadAlerts(doc[:cut])
				_, observed := ReadObservations(doc[:cut])
				for _, err := range []error{forecast, alert, observed} {
					if events.RefusalIn(err) == nil {
						t.Fatalf("%s cut after %d of %d bytes: %v", name, cut, whole, err)
					}
				}
				cuts++
			}
		}
	}
	t.Logf("%d documents, %d cuts", len(docs), cuts)
}

// What a pattern finds in a gridpoint: the first value of a layer, its unit, any interval,
// any value.
const (
	rainUnit  = `("quantitativePrecipitation":\{"uom":)"[^"]*"`
	tempUnit  = `("temperature":\{"uom":)"[^"]*"`
	rainValue = `("quantitativePrecipitation":\{"uom":"[^"]*","values":\[\{"validTime":"[^"]*","value":)-?[0-9.]+`
	tempValue = `("temperature":\{"uom":"[^"]*","values":\[\{"validTime":"[^"]*","value":)-?[0-9.]+`
	anyStart  = `("validTime":")[^"/]*`
	anyLength = `("validTime":"[^"/]*/)[^"]*`
	anyValue  = `("validTime":"[^"]*","value":)-?[0-9.]+`
)

// spoilt are ways to spoil a gridpoint. Each is refused, or told as a note, and of the layer
// that it spoils nothing is taken that the whole document does not have.
var spoilt = []struct {
	what, find, put string
	layer, note     string // where it is not refused
	all             bool   // nothing of the layer is taken
}{
	{"rain in furlongs", rainUnit, `"wmoUnit:furlong"`, "rain", NoteUnit, true},
	{"rain without a unit", rainUnit, `""`, "rain", NoteUnit, true},
	{"rain in a wind's unit", rainUnit, `"wmoUnit:km_h-1"`, "rain", NoteUnit, true},
	{"rain in kilometres", rainUnit, `"wmoUnit:km"`, "rain", NoteUnit, true},
	{"rain in a null unit", rainUnit, `null`, "rain", NoteUnit, true},
	{"a unit with spaces", tempUnit, `" wmoUnit:degC "`, "temp", NoteUnit, true},
	{"a unit in capitals", tempUnit, `"WMOUNIT:DEGC"`, "temp", NoteUnit, true},
	{"a register alone", tempUnit, `"wmoUnit:"`, "temp", NoteUnit, true},
	{"two registers", tempUnit, `"unit:wmoUnit:degC"`, "temp", NoteUnit, true},
	{"a very long unit", tempUnit, `"` + strings.Repeat("degC", 500) + `"`, "temp", NoteUnit, true},
	{"a deluge", rainValue, `1e300`, "rain", NoteAbsurd, false},
	{"the weather service's missing", rainValue, `-9999`, "rain", NoteAbsurd, false},
	{"the heat of the Sun", tempValue, `5772`, "temp", NoteAbsurd, false},
	{"below absolute zero", tempValue, `-274`, "temp", NoteAbsurd, false},
	{"a null", rainValue, `null`, "rain", "", false},
	{"a unit that is a number", tempUnit, `3`, "", "", false},
	{"no slash", `("validTime":"[^"/]*)/`, ` `, "", "", false},
	{"no length", anyLength, ``, "", "", false},
	{"a month", anyLength, `P1M`, "", "", false},
	{"a length below zero", anyLength, `PT-1H`, "", "", false},
	{"no time at all", anyLength, `PT0S`, "", "", false},
	{"ages", anyLength, `PT9999999H`, "", "", false},
	{"a length in words", anyLength, `six hours`, "", "", false},
	{"31 February", anyStart, `2024-02-31T06:00:00+00:00`, "", "", false},
	{"25 o'clock", anyStart, `2024-02-20T25:00:00+00:00`, "", "", false},
	{"the year 10000", anyStart, `10000-02-20T06:00:00+00:00`, "", "", false},
	{"the year 1", anyStart, `0001-02-20T06:00:00+00:00`, "", "", false},
	{"a zone of thirty hours", anyStart, `2024-02-20T06:00:00+30:00`, "", "", false},
	{"no zone", anyStart, `2024-02-20T06:00:00`, "", "", false},
	{"now", anyStart, `NOW`, "", "", false},
	{"NaN in words", anyValue, `"NaN"`, "", "", false},
	{"a number in words", anyValue, `"3"`, "", "", false},
	{"NaN", anyValue, `NaN`, "", "", false},
	{"infinity", anyValue, `Infinity`, "", "", false},
	{"more than a float holds", anyValue, `1e400`, "", "", false},
	{"true", anyValue, `true`, "", "", false},
	{"a list", anyValue, `[1]`, "", "", false},
	{"hexadecimal", anyValue, `0x10`, "", "", false},
}

func TestSpoiltGridpoints(t *testing.T) {
	count := 0
	for name, doc := range recordedDocs(t, "gridpoint.json") {
		doc = compact(doc)
		whole, err := Read(doc)
		if err != nil {
			t.Fatal(name, err)
		}
		for _, c := range spoilt {
			find := regexp.MustCompile(c.find)
			at := find.FindSubmatchIndex(doc)
			if at == nil {
				t.Errorf("%s: nothing to spoil with %s", name, c.what)
				continue
			}
			bad := bytes.Clone(doc[:at[3]])
			bad = append(append(bad, c.put...), doc[at[1]:]...)
			f, err := Read(bad)
			count++
			switch {
			case c.layer == "":
				if events.RefusalIn(err) == nil || f.Hours != nil {
					t.Errorf("%s, %s: %v, %d hours taken", name, c.what, err, len(f.Hours))
				}
			case err != nil:
				t.Errorf("%s, %s: %v", name, c.what, err)
			default:
				checkSpoilt(t, name+", "+c.what, whole, f, c.layer, c.note, c.all)
			}
		}
	}
	t.Logf("%d documents spoilt", count)
}

// checkSpoilt holds a spoilt forecast against the whole one: the other layers are the same,
// and of the spoilt one nothing new is known.
func checkSpoilt(t *testing.T, what string, whole, f Forecast, layer, note string, all bool) {
	t.Helper()
	told := note == ""
	for _, n := range f.Told {
		told = told || n.Code == note && len(n.Text) < 300
	}
	if !told {
		t.Errorf("%s: %s is not told shortly: %v", what, note, f.Told)
	}
	for n := range f.Hours {
		was, _ := whole.At(f.Hours[n].Time)
		for _, l := range layers {
			got, want := *l.at(&f.Hours[n]), *l.at(&was)
			switch {
			case l.name != layer && got != want:
				t.Fatalf("%s: %s of %s changed from %v to %v", what, l.name, was.Time, want, got)
			case l.name == layer && got.Known && (all || got != want && !(l.amount && got.V <= want.V)):
				t.Fatalf("%s: %s of %s is taken as %v, the whole document has %v", what, l.name, was.Time, got, want)
			}
		}
	}
}

var (
	spaceAfter  = regexp.MustCompile(`([:,{\[])\s+`)
	spaceBefore = regexp.MustCompile(`\s+([}\]])`)
	valueList   = regexp.MustCompile(`"values":\[(\{"validTime":"[^"]*","value":[^\[{}]*\},?)+\]`) // of numbers, not of the weather in words
	oneValue    = regexp.MustCompile(`\{"validTime":"[^"]*","value":[^}]*\}`)
)

// compact takes the space out of a document, so that patterns find their place.
func compact(doc []byte) []byte {
	return spaceBefore.ReplaceAll(spaceAfter.ReplaceAll(doc, []byte("$1")), []byte("$1"))
}

// turned puts the values of every layer in the opposite order.
func turned(doc []byte) []byte {
	return valueList.ReplaceAllFunc(doc, func(list []byte) []byte {
		all := oneValue.FindAll(list, -1)
		back := make([][]byte, len(all))
		for n, v := range all {
			back[len(all)-1-n] = v
		}
		return append(append([]byte(`"values":[`), bytes.Join(back, []byte(","))...), ']')
	})
}

// Intervals may come in any order: the hours are the same.
func TestOrderOfIntervalsDoesNotMatter(t *testing.T) {
	for name, doc := range recordedDocs(t, "gridpoint.json") {
		doc = compact(doc)
		whole, err := Read(doc)
		if err != nil {
			t.Fatal(name, err)
		}
		back := turned(doc)
		if bytes.Equal(back, doc) {
			t.Fatal(name, "was not turned")
		}
		f, err := Read(back)
		if err != nil {
			t.Fatal(name, err)
		}
		for n := range whole.Hours {
			for _, l := range layers {
				a, b := *l.at(&whole.Hours[n]), *l.at(&f.Hours[n])
				if a.Known != b.Known || math.Abs(a.V-b.V) > 1e-9*math.Max(1, math.Abs(a.V)) {
					t.Fatalf("%s: %s of %s is %v backwards, %v forwards", name, l.name, whole.Hours[n].Time, b, a)
				}
			}
		}
	}
}
