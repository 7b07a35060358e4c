package takeoff

import (
	"fmt"
	"slices"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// Line is one material of the order.
type Line struct {
	Material events.MaterialID
	Name     string
	// Unit is each, mm or m2: what Net, Waste and Order are reckoned in.
	Unit string
	// Net is what stays on the roof. Waste is what is lost beside it: laps, offcuts, what
	// is cut off stock lengths, coil ends. Order is both together, up to whole packs; what
	// it holds beyond is left over and can be used again.
	Net, Waste, Order quantity.Amount
	// OrderUnit is what is bought, Packs how many of it.
	OrderUnit string
	Packs     int64
	// Basis is how it was reckoned, in one sentence with the numbers in it.
	Basis string
	// Places are the planes and edges it goes to, each once, in the roof's order.
	Places []events.Place
}

// order sums the demands by material. It refuses a panel that is longer than the coil.
func (e *Estimate) order(a *assembly.Assembly) error {
	by := make(map[events.MaterialID][]*Demand, len(a.Materials))
	for i := range e.Demands {
		d := &e.Demands[i]
		by[d.Material] = append(by[d.Material], d)
	}
	for i := range a.Materials {
		m := &a.Materials[i]
		if demands := by[m.ID]; len(demands) > 0 {
			if err := e.fits(a, m); err != nil {
				return err
			}
			e.Lines = append(e.Lines, lineOf(m, demands, m.ID == a.Panel.Material))
		}
	}
	return nil
}

func (e *Estimate) fits(a *assembly.Assembly, m *assembly.Material) error {
	if m.ID != a.Panel.Material || !isCutToLength(m) {
		return nil
	}
	for i := range e.Planes {
		for k := range e.Planes[i].Panels {
			if p := &e.Planes[i].Panels[k]; p.Length > m.Pack.Holds.Length() {
				at := p.Outline[0]
				return &events.Refusal{Code: "panel-too-long", Where: fmt.Sprintf("plane %s, panel %s at (%s, %s)", p.Plane, p.Mark, at.X, at.Y), Was: p.Length.String(),
					Want: fmt.Sprintf("at most %s, what one %s holds: break the plane's slope, or buy longer", m.Pack.Holds, m.Pack.Noun)}
			}
		}
	}
	return nil
}

func lineOf(m *assembly.Material, demands []*Demand, isPanel bool) Line {
	l := Line{Material: m.ID, Name: m.Name, Unit: m.Unit, OrderUnit: m.Unit}
	var all []quantity.Length
	var terms []term
	var laps quantity.Amount
	for _, d := range demands {
		l.Net, laps = plus(l.Net, d.Net), plus(laps, d.Laps)
		all = append(all, d.pieces...)
		if n := len(terms); n > 0 && terms[n-1].place == d.Place {
			terms[n-1].net = plus(terms[n-1].net, d.Net)
		} else {
			terms = append(terms, term{d.Place, d.Net})
		}
		if !slices.Contains(l.Places, d.Place) {
			l.Places = append(l.Places, d.Place)
		}
	}
	l.Waste = laps
	l.Basis = addUp(terms, l.Net)
	if len(all) > 0 && isCutToLength(m) {
		l.cutOf(m, all, isPanel)
		return l
	}
	gross := plus(l.Net, laps)
	if laps.Sign() > 0 {
		l.Basis += fmt.Sprintf("; laps and offcuts %s", said(laps))
	}
	l.Packs, l.Order = packs(m, gross)
	if m.Pack.Noun != "" {
		l.OrderUnit = m.Pack.Noun
		l.Basis += fmt.Sprintf("; in packs of %s: %d %s", m.Pack.Holds, l.Packs, m.Pack.Noun)
	}
	if left, err := l.Order.Sub(gross); err == nil && left.Sign() > 0 {
		l.Basis += fmt.Sprintf(", %s left over", said(left))
	}
	return l
}

// cutOf orders what is cut out of stock lengths or coils. What is left of the last one is
// left over; what is left of the others is too short for any piece, and lost.
func (l *Line) cutOf(m *assembly.Material, all []quantity.Length, isPanel bool) {
	stock := m.Pack.Holds.Length()
	count, last := stocks(all, stock)
	order := quantity.Length(count) * stock
	ends := order - last - sum(all)
	l.Packs, l.Order, l.OrderUnit = count, quantity.OfLength(order), m.Pack.Noun
	cutOff := "cut off stock lengths"
	if isPanel {
		cutOff = "coil ends"
	}
	noun := "pieces"
	if len(all) == 1 {
		noun = "piece"
	}
	l.Basis += fmt.Sprintf("; %d %s, the longest first, out of %d of %s: laps %s, %s %s, left of the last one %s",
		len(all), noun, count, stock, said(l.Waste), cutOff, ends.Nearest(16), last.Nearest(16))
	l.Waste = plus(l.Waste, quantity.OfLength(ends))
}

// term is one place's part of a sum in words.
type term struct {
	place events.Place
	net   quantity.Amount
}

// addUp shows the sum place by place, so that it can be followed by hand.
func addUp(terms []term, net quantity.Amount) string {
	var b strings.Builder
	for i, t := range terms {
		if i > 0 {
			b.WriteString(" + ")
		}
		b.WriteString(string(t.place) + " " + said(t.net))
	}
	if len(terms) > 1 {
		b.WriteString(" = " + said(net))
	}
	return b.String()
}

// said is an amount to the nearest 1/16 in or tenth of a square foot, for reading.
func said(a quantity.Amount) string {
	switch a.Kind() {
	case quantity.Lengthwise:
		return a.Length().Nearest(16)
	case quantity.Areal:
		return feet2(a.Area())
	}
	return fmt.Sprint(a.Thousandths() / 1000)
}

// packs rounds an amount up to what is bought.
func packs(m *assembly.Material, a quantity.Amount) (int64, quantity.Amount) {
	up := func(n, one int64) int64 { return (n + one - 1) / one }
	switch m.Kind() {
	case quantity.Lengthwise:
		one := max(m.Pack.Holds.Length(), quantity.Millimetre)
		n := up(int64(a.Length()), int64(one))
		return n, quantity.OfLength(quantity.Length(n) * one)
	case quantity.Areal:
		one := m.Pack.Holds.Area()
		if one == 0 {
			one = quantity.SquareMetre
		}
		n := up(int64(a.Area()), int64(one))
		return n, quantity.OfArea(quantity.Area(n) * one)
	default:
		one := max(m.Pack.Holds.Thousandths(), 1000)
		n := up(a.Thousandths(), one)
		return n, quantity.Packs(n*one, quantity.Each)
	}
}
