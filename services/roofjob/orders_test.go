package roofjob_test

import (
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roofjob"

	"pgregory.net/rapid"
)

func ordered(t testing.TB, order, amountSaid, due string) events.MaterialOrdered {
	return events.MaterialOrdered{Order: order, Lines: []events.OrderLine{{Material: "clip", Amount: *amount(t, amountSaid), Due: due}}}
}

func came(t testing.TB, order, amountSaid string) events.MaterialReceived {
	return events.MaterialReceived{Order: order, Lines: []events.ReceivedLine{{Material: "clip", Amount: *amount(t, amountSaid)}}}
}

func awaited(s *roofjob.State) string {
	var parts []string
	for _, o := range s.Awaited("clip") {
		parts = append(parts, o.Number+": "+o.Amount.String()+" "+o.Due)
	}
	return strings.Join(parts, "; ")
}

func TestAwaitedFollowsTheOrdersNumber(t *testing.T) {
	t.Parallel()
	s := opened(t)
	n := 0
	then := func(want string, body events.Body) {
		t.Helper()
		n++
		must(t, tell(s, n, time.Duration(n)*time.Minute, "lead", body))
		if got := awaited(s); got != want {
			t.Errorf("after %T: %q, want %q", body, got, want)
		}
	}
	then("P-1: 100 each 2026-05-10", ordered(t, "P-1", "100 each", "2026-05-10"))
	then("P-1: 100 each 2026-05-10; P-2: 50 each ", ordered(t, "P-2", "50 each", ""))
	then("P-1: 100 each 2026-05-10; P-2: 20 each ", came(t, " P-2 ", "30 each"))
	then("P-1: 90 each 2026-05-10; P-2: 20 each ", came(t, "", "10 each")) // names none: the oldest
	then("P-1: 80 each 2026-05-10", came(t, "P-2", "30 each"))             // ten more than ordered
	short := came(t, "P-1", "60 each")
	short.Lines[0].Short, short.Lines[0].Damaged = amount(t, "15 each"), amount(t, "5 each")
	then("", short)
	then("P-3: 5 each ", ordered(t, "P-3", "5 each", ""))
}

// What is awaited, order by order, is what the ledger says was ordered and has not come.
func TestAwaitedAddsUp(t *testing.T) {
	t.Parallel()
	fresh := opened(t)
	rapid.Check(t, func(t *rapid.T) {
		s := roofjob.New(fresh.Company, fresh.Job)
		for _, e := range fresh.Events() {
			if err := s.Add(e); err != nil {
				t.Fatal(err)
			}
		}
		all, gone := 0, 0
		for n := range rapid.IntRange(1, 12).Draw(t, "reports") {
			order, many := rapid.SampledFrom([]string{"P-1", "P-2", "P-3", ""}).Draw(t, "order"), rapid.IntRange(1, 9).Draw(t, "many")
			var body events.Body
			if rapid.Bool().Draw(t, "came") {
				gone += many
				body = events.MaterialReceived{Order: order, Lines: []events.ReceivedLine{{Material: "clip", Amount: quantity.Pieces(int64(many))}}}
			} else {
				all += many
				body = events.MaterialOrdered{Order: "P" + order, Lines: []events.OrderLine{{Material: "clip", Amount: quantity.Pieces(int64(many))}}}
			}
			if err := tell(s, n+1, time.Duration(n)*time.Minute, "lead", body); err != nil {
				t.Fatal(err)
			}
		}
		sum := 0
		for _, o := range s.Awaited("clip") {
			sum += int(o.Amount.Thousandths() / 1000)
		}
		if want := max(0, all-gone); sum != want {
			t.Fatalf("%d awaited, %d ordered and %d came", sum, all, gone)
		}
	})
}

// A delivery against an order that nobody reported is taken, and told until the order's
// report comes.
func TestReceivedOnAnUnknownOrder(t *testing.T) {
	t.Parallel()
	s := opened(t)
	must(t, tell(s, 1, time.Hour, "lead", came(t, "P-7", "10 each")))
	must(t, tell(s, 2, 2*time.Hour, "lead", came(t, "", "10 each")))
	odd := s.Oddities()
	if len(odd) != 1 || odd[0].Report != id(1) || !strings.Contains(odd[0].What, "P-7") {
		t.Fatalf("%+v", odd)
	}
	must(t, tell(s, 3, 3*time.Hour, "lead", ordered(t, "P-7", "10 each", "")))
	if odd := s.Oddities(); len(odd) != 0 {
		t.Errorf("the order is known and still told: %+v", odd)
	}
}
