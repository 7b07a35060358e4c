package ledger_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/ledger"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

func each(n int) quantity.Amount { return quantity.Pieces(int64(n)) }

// line is one of a ledger as a fold makes it, in pieces.
func line(id string, remaining, hand, order int) ledger.Line {
	short := each(max(0, remaining-max(0, hand)-order))
	return ledger.Line{
		Job: "ours", Material: events.MaterialID(id), Name: "Clips", Unit: "each", EstimatedNow: each(remaining), Remaining: each(remaining),
		UsedImplied: each(0), Behind: each(0), Ordered: each(order), Received: each(0), Short: each(0), Damaged: each(0), Arrived: each(0),
		OnHand: each(hand), OnOrder: each(order), ShortBy: short, ToOrder: short, LeadDays: 5,
	}
}

func lacks(n int) string {
	return fmt.Sprintf("%d more was used, spoiled or sent away than came, by the reports: a delivery was not reported, a report says too much, or a count is missing. Count what is there. ", n)
}

func TestOutlook(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 5, 4, 9, 0, 0, 0, zone)
	paced := func(l ledger.Line, taken, days int) ledger.Line {
		perDay := each(taken / days)
		l.UsedImplied, l.PerDay, l.UsedDays = each(taken), &perDay, days
		return l
	}
	packed := paced(line("clip", 100, 20, 0), 40, 2)
	packed.ToOrder = quantity.Packs(1000, "box")
	late := paced(line("clip", 100, 20, 80), 40, 2)
	late.Awaited = []ledger.Awaited{{Order: "P-1", Amount: each(80), Due: "2026-05-09"}}
	for _, c := range []struct {
		name, start string
		line        ledger.Line
		want        ledger.Outlook
	}{
		{"nothing left to do", "", line("clip", 0, 5, 0), ledger.Outlook{Words: "The work that is left needs none."}},
		{"enough", "", line("clip", 5, 5, 0), ledger.Outlook{Words: "What is on hand suffices for the 5 that the work still takes."}},
		{"one day on hand, five to come", "", packed, ledger.Outlook{LastsUntil: "2026-05-05", OrderBy: "2026-04-30", DaysLate: 4, Words: "The work still takes 100. At the pace so far, 40 in 2 days, what is on hand is used up on 2026-05-05, counting every day as a day of work. " +
			"Short by 80, that is 1 box. It takes 5 days to come: the last day to order was 2026-04-30, 4 days ago."}},
		{"in time", "", paced(line("clip", 500, 200, 0), 40, 2), ledger.Outlook{LastsUntil: "2026-05-14", OrderBy: "2026-05-09", Words: "The work still takes 500. At the pace so far, 40 in 2 days, what is on hand is used up on 2026-05-14, counting every day as a day of work. " +
			"Short by 300. It takes 5 days to come: order it by 2026-05-09."}},
		{"on order, and due too late", "", late, ledger.Outlook{LastsUntil: "2026-05-05", Words: "The work still takes 100. At the pace so far, 40 in 2 days, what is on hand is used up on 2026-05-05, counting every day as a day of work. Order P-1 is due on 2026-05-09, after that."}},
		{"not begun, start known", "2026-05-20", line("clip", 30, 0, 0), ledger.Outlook{OrderBy: "2026-05-15", Words: "The work still takes 30; none of it is used yet, so there is no pace to go by. Work is to begin on 2026-05-20. Short by 30. It takes 5 days to come: order it by 2026-05-15."}},
		{"no pace and no start", "", line("clip", 30, 0, 0), ledger.Outlook{Words: "The work still takes 30; none of it is used yet, so there is no pace to go by. Short by 30; it takes 5 days to come."}},
		{"more used than came, and none needed", "", line("clip", 0, -671, 0), ledger.Outlook{Words: lacks(671) + "The work that is left needs none."}},
		{"more used than came, some ordered", "", paced(line("clip", 100, -7, 80), 40, 2), ledger.Outlook{OrderBy: "2026-05-03", DaysLate: 1, Words: lacks(7) + "The work still takes 100. " +
			"Short by 20. It takes 5 days to come: the last day to order was 2026-05-03, 1 day ago."}},
	} {
		if d := cmp.Diff(c.want, c.line.Outlook(c.start, now)); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
}

// Board and warnings go by the short rows, the ledger by the whole lines: both must find
// the same short, whatever came from other roofs.
func TestSupplyIsTheLedgersShortage(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var lines []ledger.Line
		for i := range rapid.IntRange(0, 4).Draw(t, "lines") {
			few := rapid.IntRange(0, 30)
			lines = append(lines, line(fmt.Sprint("m", i), few.Draw(t, "remaining"), rapid.IntRange(-15, 30).Draw(t, "hand"), few.Draw(t, "order")))
		}
		var moves []ledger.Move
		for range rapid.IntRange(0, 6).Draw(t, "moves") {
			m := ledger.Move{
				To: rapid.SampledFrom([]events.JobID{"ours", "theirs"}).Draw(t, "to"), Material: events.MaterialID(fmt.Sprint("m", rapid.IntRange(0, 5).Draw(t, "material"))),
				Amount: each(rapid.IntRange(1, 20).Draw(t, "amount")),
			}
			if rapid.IntRange(0, 4).Draw(t, "unlike") == 0 {
				m.Amount = quantity.OfLength(quantity.Foot)
			}
			moves = append(moves, m)
		}
		short := ledger.SupplyOf(lines).With(moves, "ours")
		whole, err := ledger.With(lines, moves, "ours")
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(ledger.SupplyOf(whole), short, cmpopts.EquateEmpty(), cmp.Comparer(func(a, b quantity.Amount) bool { return a == b })); d != "" {
			t.Fatalf("(-ledger +board):\n%s", d)
		}
	})
}

func TestShortIsToldInTime(t *testing.T) {
	t.Parallel()
	s := ledger.SupplyOf([]ledger.Line{line("clip", 30, 0, 0), line("felt", 1, 1, 0)})
	at := func(day int) time.Time { return time.Date(2026, 5, day, 0, 0, 0, 0, time.UTC) }
	for _, c := range []struct {
		begun bool
		start string
		now   time.Time
		want  int
	}{{true, "", at(1), 1}, {false, "", at(1), 0}, {false, "2026-05-20", at(11), 0}, {false, "2026-05-20", at(12), 1}} {
		s.Begun = c.begun
		if got := s.Short(c.start, c.now); len(got) != c.want {
			t.Errorf("%+v: %+v", c, got)
		}
	}
}

func TestLeft(t *testing.T) {
	t.Parallel()
	over := line("cap", 0, 0, 0)
	over.OnHand = each(-3)
	got := ledger.Left([]ledger.Line{line("clip", 0, 12, 7), over, line("felt", 0, 0, 0)}, 2)
	want := []string{
		"Ordered and not received: 7 of Clips. Call it off, or wait for it.",
		"More was used than came, by the reports: 3 of Clips. A delivery was not reported, or a count is missing.",
		"Should still lie at the site: 12 of Clips. Return it, move it to another roof, or count it.",
		"2 reports of this job with something that does not fit: the ledger lists them.",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(strings.TrimSpace(d))
	}
	if got := ledger.Left(nil, 0); got != nil {
		t.Errorf("nothing left gave %q", got)
	}
}
