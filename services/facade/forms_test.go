package facade

import (
	"testing"
	"time"

	"bydark/events"
)

// Whoever has no program of their own can send every report by a form, and what a form
// sends is read as that report.
func TestEveryReportHasAForm(t *testing.T) {
	t.Parallel()
	for _, name := range events.Reports() {
		f, ok := formOf(name)
		if !ok {
			t.Errorf("%s has no form", name)
			continue
		}
		values := map[string][]string{"id": {"0199d2f0-6f1a-7cc3-98c4-dc0c0c07398f"}, "at": {"2026-05-04T15:30:00Z"}}
		for _, in := range f.Fields {
			said := map[string]string{"number": "3", "json": "{}", "day": "2026-05-04", "time": "2026-05-04T21:00:00Z"}[in.Kind]
			switch {
			case in.Name == "amount" || in.Name == "short" || in.Name == "damaged":
				said = "40'"
			case in.Name == "length" || in.Name == "stock" || in.Name == "offcut" && in.In == "" || in.Name == "offcuts":
				said = "10'"
			case said == "":
				said = "A"
			}
			values[in.Name+in.In] = []string{said}
		}
		raw, err := f.reportOf(values, time.UTC)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		report, err := events.ParseReport(raw)
		if err != nil {
			t.Errorf("%s: the form sends %s: %v", name, raw, err)
			continue
		}
		if got := (events.Event{Body: report.Body}).Report(); got != name {
			t.Errorf("the form of %s sends %s", name, got)
		}
	}
}

func TestFormsRefuseWhatIsNoNumber(t *testing.T) {
	t.Parallel()
	f, ok := formOf("day-started")
	if !ok {
		t.Fatal("no form")
	}
	_, err := f.reportOf(map[string][]string{"heads": {"three"}}, time.UTC)
	if r := events.RefusalIn(err); r == nil || r.Where != "/heads" {
		t.Errorf("three gave %v", err)
	}
}

// A form's times are the site's clocks'.
func TestFormsTakeTheSitesClocks(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"2026-05-04T16:30:00": "2026-05-04T16:30:00-04:00", "2026-05-04T16:30": "2026-05-04T16:30:00-04:00", "2026-12-04 07:05": "2026-12-04T07:05:00-05:00",
		"16:30": "2026-05-04T16:30:00-04:00", "4:30 pm": "2026-05-04T16:30:00-04:00", "2026-05-04T16:30:00Z": "2026-05-04T16:30:00Z", "at dusk": "at dusk", "": "",
	} {
		if got := clockOf(text, zone, "2026-05-04"); got != want {
			t.Errorf("%q gave %s, want %s", text, got, want)
		}
	}
}
