package events

import (
	"bytes"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bydark/events/quantity"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// F38: every type has one stored sample of each version, which is never edited: the log
// holds such bytes for ever.
func TestEveryStoredVersionStillDecodes(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	files, err := filepath.Glob("testdata/bydark.*.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		wire := strings.TrimSuffix(filepath.Base(file), ".json")
		seen[wire] = true
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		data = compact(t, data)
		body, err := Decode(wire, data)
		if err != nil {
			t.Errorf("%s: %v", wire, err)
			continue
		}
		again, err := Encode(body)
		if err != nil {
			t.Errorf("%s: %v", wire, err)
			continue
		}
		back, err := Decode(rowOf(body).wire(), again)
		if diff := cmp.Diff(body, back, cmpopts.EquateComparable(quantity.Amount{})); err != nil || diff != "" {
			t.Errorf("%s does not come back the same: %v\n%s", wire, err, diff)
		}
		if rowOf(body).wire() == wire && !bytes.Equal(data, again) {
			t.Errorf("%s is written otherwise than it is stored:\n%s\n%s", wire, data, again)
		}
	}
	for _, r := range catalogue {
		if !seen[r.wire()] {
			t.Errorf("testdata/%s.json is missing: store one sample of the type", r.wire())
		}
	}
	for old := range upcasters {
		if !seen[old] {
			t.Errorf("testdata/%s.json is missing: an old version's sample stays", old)
		}
	}
}

func compact(t *testing.T, data []byte) []byte {
	t.Helper()
	v := jsontext.Value(data)
	if err := v.Compact(); err != nil {
		t.Fatal(err)
	}
	return v
}

func TestNamesAreUsedOnce(t *testing.T) {
	t.Parallel()
	wires, reports := map[string]bool{}, map[string]bool{}
	shape := regexp.MustCompile(`^bydark\.[a-z]+\.[a-z-]+\.v[1-9][0-9]*$`)
	for _, r := range catalogue {
		if wires[r.wire()] || reports[r.report] || !shape.MatchString(r.wire()) {
			t.Errorf("%s of %s is used twice or misshapen", r.wire(), r.report)
		}
		wires[r.wire()], reports[r.report] = true, true
	}
}

// F38.
func TestOldVersionsAreLifted(t *testing.T) {
	t.Parallel()
	rows := []row{one[PanelSet]("panel-set", "work", "panel-set", 3)}
	renamed := func(from, to string) func([]byte) ([]byte, error) {
		return func(data []byte) ([]byte, error) {
			return bytes.Replace(data, []byte(from), []byte(to), 1), nil
		}
	}
	lifts := map[string]upcaster{
		"bydark.work.panel-set.v1": {"bydark.work.panel-set.v2", renamed(`"panel"`, `"mark"`)},
		"bydark.work.panel-set.v2": {"bydark.work.panel-set.v3", renamed(`"mark"`, `"piece"`)},
		"bydark.work.loop.v1":      {"bydark.work.loop.v1", renamed("", "")},
	}
	r, data, err := current(rows, lifts, "bydark.work.panel-set.v1", []byte(`{"panel":"A-01"}`))
	if err != nil || r.version != 3 || string(data) != `{"piece":"A-01"}` {
		t.Errorf("lifted to %s %s, %v", r.wire(), data, err)
	}
	for _, wire := range []string{"bydark.work.panel-set.v4", "bydark.work.loop.v1", "other"} {
		if _, _, err := current(rows, lifts, wire, nil); !errors.Is(err, ErrUnknownType) {
			t.Errorf("%s gave %v, want ErrUnknownType", wire, err)
		}
	}
	if _, err := Decode("bydark.work.panel-set.v2", []byte(`{"piece":"A-01"}`)); !errors.Is(err, ErrUnknownType) {
		t.Errorf("a newer version gave %v, want ErrUnknownType", err)
	}
}

const someID = `"id":"0199d2f0-6f1a-7cc3-98c4-dc0c0c07398f"`

func TestParseReport(t *testing.T) {
	t.Parallel()
	got, err := ParseReport([]byte(`{` + someID + `,"type":"measure-taken","at":"2026-05-04T15:30:00-04:00","where":"deck","of":"moisture","values":[14.5,"12 %"]}`))
	if err != nil {
		t.Fatal(err)
	}
	want := MeasureTaken{Where: "deck", Of: OfMoisture, Values: []Reading{"14.5", "12 %"}}
	if diff := cmp.Diff(want, got.Body); diff != "" || got.At.Hour() != 19 || got.ID == "" {
		t.Errorf("read %+v\n%s", got, diff)
	}
}

func TestParseReportRefuses(t *testing.T) {
	t.Parallel()
	const at = `"at":"2026-05-04T15:30:00Z"`
	for _, c := range []struct{ body, code, where string }{
		{``, "unreadable", ""},
		{`[]`, "unreadable", ""},
		{`{` + someID + `,"type":"panel-set",` + at + `,"piece":"A-01"} x`, "unreadable", ""},
		{`{` + someID + `,"type":"panel-set",` + at + `,"piece":"A-01","piece":"A-02"}`, "doubled-member", "/piece"},
		{`{` + someID + `,"type":"panel-set",` + at + `,"Piece":"A-01"}`, "unknown-member", "/Piece"},
		{`{` + someID + `,"type":"panel-set",` + at + `,"piece":"A-01","sequence":4}`, "unknown-member", "/sequence"},
		{`{` + someID + `,"type":"panel-set",` + at + `,"piece":7}`, "unreadable", "/piece"},
		{"{" + someID + `,"type":"panel-set",` + at + `,"piece":"` + "\xff" + `"}`, "unreadable", ""},
		{`{"id":"7","type":"panel-set",` + at + `,"piece":"A-01"}`, "unreadable-id", "/id"},
		{`{"type":"panel-set",` + at + `,"piece":"A-01"}`, "unreadable-id", "/id"},
		{`{` + someID + `,"type":"panel-sat",` + at + `}`, "unknown-type", "/type"},
		{`{` + someID + `,"type":"job-opened",` + at + `}`, "unknown-type", "/type"},
		{`{` + someID + `,"type":"panel-set","at":"yesterday"}`, "unreadable-time", "/at"},
		{`{` + someID + `,"type":"layer-laid",` + at + `,"where":"A","step":"felt","amount":"12"}`, "unreadable-amount", "/amount"},
		{`{` + someID + `,"type":"measure-taken",` + at + `,"where":"A","of":"gap","values":[true]}`, "unreadable", "/values/0"},
	} {
		_, err := ParseReport([]byte(c.body))
		r := RefusalIn(err)
		if r == nil || r.Code != c.code || c.where != "" && r.Where != c.where || r.Want == "" {
			t.Errorf("%s\n gave %+v (%v); want %s at %s", c.body, r, err, c.code, c.where)
		}
	}
}

func TestIDs(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", ".", "a.b", "*", ">", "a b", "a\r\nb", "a\x00", strings.Repeat("a", 65), "-a", "ä"} {
		if id, err := ParseJobID(bad); err == nil {
			t.Errorf("%q became the job id %q", bad, id)
		}
		if id, err := ParseCompanyID(bad); err == nil {
			t.Errorf("%q became the company id %q", bad, id)
		}
	}
	if id, err := CompanyNamed(" Larch & Sons, Roofs "); err != nil || id != "larch-sons-roofs" {
		t.Errorf("company id %q, %v", id, err)
	}
	if id, err := CompanyNamed("…"); err == nil {
		t.Errorf("a name without letters became %q", id)
	}
}

// F51: whatever comes in is a report or a refusal with its place.
func FuzzParseReport(f *testing.F) {
	for _, r := range catalogue {
		data, err := os.ReadFile("testdata/" + r.wire() + ".json")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(append([]byte(`{`+someID+`,"type":"`+r.report+`","at":"2026-05-04T15:30:00Z",`), bytes.TrimPrefix(bytes.TrimSpace(data), []byte("{"))...))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		report, err := ParseReport(data)
		if err != nil {
			if RefusalIn(err) == nil {
				t.Fatalf("%q gave %v, which is no refusal", data, err)
			}
			return
		}
		stored, err := Encode(report.Body)
		if err != nil {
			t.Fatalf("%q was read and cannot be stored: %v", data, err)
		}
		back, err := Decode(rowOf(report.Body).wire(), stored)
		if err != nil {
			t.Fatalf("%q is stored as %s and cannot be read: %v", data, stored, err)
		}
		again, err := json.Marshal(back, json.Deterministic(true))
		if err != nil || !bytes.Equal(stored, again) {
			t.Fatalf("%q is stored as %s and comes back as %s, %v", data, stored, again, err)
		}
	})
}
