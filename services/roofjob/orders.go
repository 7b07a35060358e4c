package roofjob

import (
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
)

// Order is one line of an order that went out, in the material's own unit.
type Order struct {
	Number   string
	Material events.MaterialID
	Amount   quantity.Amount
	// Due is the promised day, YYYY-MM-DD; empty when none was promised.
	Due string
	At  time.Time
}

// receipt is one line of a delivery: settled is what its order need not bring any more,
// be it that it came, came damaged, or was said to be short.
type receipt struct {
	report   events.ReportID
	at       time.Time
	order    string
	material events.MaterialID
	settled  quantity.Amount
}

// order and receive keep what goes out and what comes.
func (f *fold) order(o Order) {
	if f.told != nil {
		f.told.orders = append(f.told.orders, o)
	}
}

func (f *fold) receive(r receipt) {
	if f.told != nil {
		f.told.receipts = append(f.told.receipts, r)
	}
}

func (f *fold) receipt(e events.Event, order string, l events.ReceivedLine) receipt {
	r := receipt{report: e.ID, at: e.At, order: strings.TrimSpace(order), material: l.Material, settled: f.own(l.Material, l.Amount)}
	for _, part := range []*quantity.Amount{l.Short, l.Damaged} {
		if part == nil {
			continue
		}
		if sum, err := r.settled.Add(f.own(l.Material, *part)); err == nil {
			r.settled = sum
		}
	}
	return r
}

// Awaited lists the lines of orders of a material of which something is still to come,
// in the order in which they went out, with what is to come. A delivery settles the order
// that it names first; what names none, and what is more than was ordered, settles the
// oldest. Lines in another unit than the material has now are left out.
func (s *State) Awaited(id events.MaterialID) []Order {
	var open []Order
	for _, o := range s.history().orders {
		if o.Material == id {
			open = append(open, o)
		}
	}
	var rest []quantity.Amount
	for _, r := range s.history().receipts {
		if r.material == id {
			rest = append(rest, settle(open, r.settled, func(o Order) bool { return strings.TrimSpace(o.Number) == r.order }))
		}
	}
	for _, r := range rest {
		settle(open, r, func(Order) bool { return true })
	}
	var still []Order
	for _, o := range open {
		if o.Amount.Sign() > 0 && s.now.own(id, o.Amount).Kind() == o.Amount.Kind() {
			still = append(still, o)
		}
	}
	return still
}

// settle takes what came off those orders that are meant, and gives what is left of it.
func settle(open []Order, came quantity.Amount, meant func(Order) bool) quantity.Amount {
	for i := range open {
		if !meant(open[i]) {
			continue
		}
		part, err := quantity.Least(open[i].Amount, came)
		if err != nil || part.Sign() <= 0 {
			continue
		}
		left, err := open[i].Amount.Sub(part)
		if err != nil {
			continue
		}
		rest, err := came.Sub(part)
		if err != nil {
			continue
		}
		open[i].Amount, came = left, rest
	}
	return came
}

// unordered tells of deliveries that name an order which nobody reported. The order's
// report may still be on its way: then it is told no more.
func (h *history) unordered() []Oddness {
	known := map[string]bool{"": true}
	for _, o := range h.orders {
		known[strings.TrimSpace(o.Number)] = true
	}
	var odd []Oddness
	told := map[events.ReportID]bool{}
	for _, r := range h.receipts {
		if !known[r.order] && !told[r.report] {
			told[r.report] = true
			odd = append(odd, Oddness{r.report, r.at, events.WholeRoof, "a delivery names the order " + r.order + ", and nobody reported such an order"})
		}
	}
	return odd
}

// Orders lists what was ordered, line by line.
func (s *State) Orders() []Order { return s.history().orders }
