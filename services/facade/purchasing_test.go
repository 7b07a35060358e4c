package facade

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/board"
	"bydark/projections/ledger"
	"bydark/services/access"
)

func clips(job string, short int64, outlook ledger.Outlook) MaterialRow {
	return MaterialRow{ledger.Line{
		Job: events.JobID(job), Material: "clip", Name: "Clips", Unit: "each", EstimatedNow: quantity.Pieces(100), Remaining: quantity.Pieces(short + 10),
		OnHand: quantity.Pieces(10), OnOrder: quantity.Pieces(0), ShortBy: quantity.Pieces(short), ToOrder: quantity.Packs(2000, "boxes"), LeadDays: 5,
	}, outlook}
}

// The roof that has to order first stands first, closed roofs are left out, and sums are
// those of the lines.
func TestPurchasingSortsByTheLastDay(t *testing.T) {
	t.Parallel()
	closed := board.Row{Job: "done", Name: "Done", Closed: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)}
	body, err := purchasing(
		[]board.Row{{Job: "a", Name: "A"}, {Job: "b", Name: "B"}, {Job: "c", Name: "C"}, closed},
		[]MaterialRow{
			clips("a", 5, ledger.Outlook{}), clips("b", 7, ledger.Outlook{OrderBy: "2026-05-09"}), clips("c", 9, ledger.Outlook{OrderBy: "2026-05-02", DaysLate: 2}),
			clips("done", 50, ledger.Outlook{}),
		})
	if err != nil {
		t.Fatal(err)
	}
	var roofs []string
	for _, n := range body.Roofs {
		roofs = append(roofs, n.Roof)
	}
	if got := strings.Join(roofs, ""); got != "CBA" {
		t.Errorf("roofs in the order %s", got)
	}
	if len(body.Wanted) != 1 || body.Wanted[0].Short != quantity.Pieces(21) || body.Wanted[0].OnHand != quantity.Pieces(30) || body.Wanted[0].OrderBy != "2026-05-02" {
		t.Errorf("%+v", body.Wanted)
	}
	if got, want := body.Roofs[0].Order, "/jobs/c/report/material-ordered?amountlines=2+boxes&materiallines=clip"; got != want {
		t.Errorf("the order's form is %s, want %s", got, want)
	}
}

func TestMaterialPages(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.send1(h.b, "theirs", `"type":"material-ordered","order":"P-1","lines":[{"material":"clip","amount":"12 each","due":"2026-05-20"}]`)
	h.send1(h.b, "theirs", `"type":"material-received","order":"P-9","lines":[{"material":"felt","amount":"2 rolls"}]`)
	for path, want := range map[string][]string{
		"/materials":             {"Shed by the mill", "Order P-1: 12 to come, due 2026-05-20", "Order for this roof"},
		"/jobs/theirs/ledger":    {"names the order P-9, and nobody reported such an order", "neither takes nor has"},
		"/jobs/theirs/checklist": {"Ordered and not received: 12 of ", "Should still lie at the site: "},
		"/":                      {"Will run short"},
	} {
		got := h.ask(get, path, h.b.token(access.Purchasing), "", header("Accept", "text/html"))
		if got.status != http.StatusOK {
			t.Errorf("%s: %d %s", path, got.status, got.body)
		}
		for _, w := range want {
			if !strings.Contains(got.body, w) {
				t.Errorf("%s does not say %q", path, w)
			}
		}
	}
}
