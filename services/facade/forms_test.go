package facade

import (
	"testing"

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
		raw, err := f.reportOf(values)
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
	_, err := f.reportOf(map[string][]string{"heads": {"three"}})
	if r := events.RefusalIn(err); r == nil || r.Where != "/heads" {
		t.Errorf("three gave %v", err)
	}
}
