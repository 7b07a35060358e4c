package facade

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/board"
	"bydark/services/access"
)

// Unused tells that a roof neither takes nor has any of it: such lines are folded away.
func (m MaterialRow) Unused() bool {
	for _, a := range []quantity.Amount{m.EstimatedFirst, m.EstimatedNow, m.Ordered, m.Received, m.Arrived, m.UsedImplied, m.OnHand} {
		if a.Sign() != 0 {
			return false
		}
	}
	return m.UsedReported == nil && m.Counted == nil
}

// Taken is what the work took, and by whose word.
func (m MaterialRow) Taken() quantity.Amount {
	if m.UsedReported != nil {
		return *m.UsedReported
	}
	return m.UsedImplied
}

// Lacks tells that more went than came, by the reports: it is to be counted.
func (m MaterialRow) Lacks() bool { return m.OnHand.Sign() < 0 }

// urgent orders materials by what is to be ordered first: by the last day to order, then
// what is short without one, by how long it takes to come, then the rest.
func urgent(a, b MaterialRow) int {
	rank := func(m MaterialRow) int {
		switch {
		case m.OrderBy != "":
			return 0
		case m.ShortBy.Sign() > 0:
			return 1
		}
		return 2
	}
	return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.OrderBy, b.OrderBy), cmp.Compare(b.LeadDays, a.LeadDays))
}

// orderLink is the form of an order with what is short filled in.
func orderLink(job events.JobID, lines []MaterialRow) string {
	fill := url.Values{}
	for _, l := range lines {
		if l.ShortBy.Sign() > 0 {
			fill.Add("materiallines", string(l.Material))
			fill.Add("amountlines", l.ToOrder.String())
		}
	}
	return "/jobs/" + url.PathEscape(string(job)) + "/report/material-ordered?" + fill.Encode()
}

// ledgerBody is the ledger as its page shows it: what is short first, and what the roof
// does not use apart.
type ledgerBody struct {
	Used, Unused  []MaterialRow
	Discrepancies []discrepancy
	Short         int
	Order         string
}

// discrepancy is an oddity with the report that it is about, in words.
type discrepancy struct {
	When, What string
}

func (s *Server) ledgerPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	page, _, err := s.roofSheet(r.Context(), r, who, "ledger", "Ledger")
	if err != nil {
		return err
	}
	doc, err := s.ledger(r.Context(), who, &ViewIn{Job: page.Job})
	if err != nil {
		return err
	}
	body := ledgerBody{Order: orderLink(events.JobID(page.Job), doc.Lines)}
	for _, l := range doc.Lines {
		if l.ShortBy.Sign() > 0 {
			body.Short++
		}
		if l.Unused() {
			body.Unused = append(body.Unused, l)
		} else {
			body.Used = append(body.Used, l)
		}
	}
	slices.SortStableFunc(body.Used, urgent)
	for _, o := range doc.Discrepancies {
		what := o.What
		if o.Where != "" && o.Where != events.WholeRoof {
			what = string(o.Where) + ": " + what
		}
		body.Discrepancies = append(body.Discrepancies, discrepancy{page.When(o.At), strings.TrimSuffix(what, ".") + "."})
	}
	page.Body = body
	return s.show(w, "ledger.html", page)
}

type (
	// bought is a material over all roofs that are not closed. What assemblies call by one
	// name and reckon in one unit is one material.
	bought struct {
		Name                   string
		Short, OnHand, OnOrder quantity.Amount
		OrderBy                string
		DaysLate               int
		Roofs                  []boughtFor
	}
	// boughtFor is what of it concerns one roof.
	boughtFor struct {
		MaterialRow
		Roof string
		// Spare is what is on hand beyond what the roof still takes; absent where nothing is.
		Spare *quantity.Amount
	}
	// needy is a roof that is short of something.
	needy struct {
		Job      events.JobID
		Roof     string
		Short    int
		OrderBy  string
		DaysLate int
		Order    string
	}
	// purchasingBody is the page: roofs to order for, then what is short or on its way, then the rest.
	purchasingBody struct {
		Roofs         []needy
		Wanted, Other []*bought
	}
)

func (s *Server) purchasingPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	doc, err := s.materials(r.Context(), who, nil)
	if err != nil {
		return err
	}
	roofs, err := s.roofs(r.Context(), who)
	if err != nil {
		return err
	}
	body, err := purchasing(roofs, doc.Materials)
	if err != nil {
		return err
	}
	return s.show(w, "materials.html", sheet{Title: "Material, all roofs", Who: who, Body: body})
}

// purchasing sorts the lines of all open roofs by material.
func purchasing(roofs []board.Row, lines []MaterialRow) (purchasingBody, error) {
	var body purchasingBody
	groups := map[string]*bought{}
	var order []*bought
	for _, roof := range roofs {
		if !roof.Closed.IsZero() {
			continue
		}
		n := needy{Job: roof.Job, Roof: roof.Name}
		var short []MaterialRow
		for _, l := range lines {
			if l.Job != roof.Job || l.Unused() {
				continue
			}
			key := string(l.Material) + " " + l.Unit + " " + l.Name
			if groups[key] == nil {
				groups[key] = &bought{Name: l.Name}
				order = append(order, groups[key])
			}
			if err := groups[key].add(roof.Name, l); err != nil {
				return body, err
			}
			if l.ShortBy.Sign() <= 0 {
				continue
			}
			short = append(short, l)
			if l.OrderBy != "" && (n.OrderBy == "" || l.OrderBy < n.OrderBy) {
				n.OrderBy, n.DaysLate = l.OrderBy, l.DaysLate
			}
		}
		if n.Short = len(short); n.Short > 0 {
			n.Order = orderLink(roof.Job, short)
			body.Roofs = append(body.Roofs, n)
		}
	}
	slices.SortStableFunc(order, func(a, b *bought) int { return urgent(a.Roofs[0].MaterialRow, b.Roofs[0].MaterialRow) })
	slices.SortStableFunc(body.Roofs, func(a, b needy) int {
		if (a.OrderBy == "") != (b.OrderBy == "") {
			return strings.Compare(b.OrderBy, a.OrderBy) // what has a day comes first
		}
		return strings.Compare(a.OrderBy, b.OrderBy)
	})
	for _, g := range order {
		if g.Short.Sign() > 0 || g.OnOrder.Sign() > 0 {
			body.Wanted = append(body.Wanted, g)
		} else {
			body.Other = append(body.Other, g)
		}
	}
	return body, nil
}

// add counts a roof's line in, the most urgent roof first.
func (b *bought) add(roof string, l MaterialRow) error {
	for _, sum := range []struct {
		of   *quantity.Amount
		more quantity.Amount
	}{{&b.Short, l.ShortBy}, {&b.OnHand, l.OnHand}, {&b.OnOrder, l.OnOrder}} {
		total, err := sum.of.Add(sum.more)
		if err != nil {
			return err
		}
		*sum.of = total
	}
	f := boughtFor{MaterialRow: l, Roof: roof}
	spare, err := l.OnHand.Sub(l.Remaining)
	if err != nil {
		return err
	}
	if spare.Sign() > 0 {
		f.Spare = &spare
	}
	b.Roofs = append(b.Roofs, f)
	slices.SortStableFunc(b.Roofs, func(x, y boughtFor) int { return urgent(x.MaterialRow, y.MaterialRow) })
	b.OrderBy, b.DaysLate = b.Roofs[0].OrderBy, b.Roofs[0].DaysLate
	return nil
}
