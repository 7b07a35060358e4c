package takeoff

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// reckon fills extents, demands and lines.
func (e *Estimate) reckon(a *assembly.Assembly) error {
	for i := range e.Planes {
		p := &e.Planes[i]
		area, panels := quantity.OfArea(p.Area), quantity.Pieces(int64(len(p.Panels)))
		e.extents[extent{p.Mark, ""}] = area
		for _, s := range a.Plane {
			e.extents[extent{p.Mark, s.ID}] = area
			if s.Kind == assembly.Panels {
				e.extents[extent{p.Mark, s.ID}] = panels
			}
			for _, u := range s.Uses {
				net, basis := e.onPlane(a, p, u)
				e.demand(p.Mark, s.ID, u.Material, net, basis)
			}
		}
	}
	for _, g := range e.Edges {
		e.extents[extent{g.Mark, ""}] = quantity.OfLength(g.Length)
		for _, s := range a.Steps(g.Kind) {
			e.extents[extent{g.Mark, s.ID}] = quantity.OfLength(g.Length)
			for _, u := range s.Uses {
				net, basis := e.atEdge(a, g, u)
				e.demand(g.Mark, s.ID, u.Material, net, basis)
			}
		}
	}
	return e.order(a)
}

// demand adds a need; the same material in one step twice makes one demand.
func (e *Estimate) demand(place events.Place, step events.StepID, material events.MaterialID, net quantity.Amount, basis string) {
	for i := range e.Demands {
		d := &e.Demands[i]
		if d.Place == place && d.Step == step && d.Material == material {
			if sum, err := d.Net.Add(net); err == nil {
				d.Net, d.Basis = sum, d.Basis+" "+basis
			}
			return
		}
	}
	e.Demands = append(e.Demands, Demand{place, step, material, net, basis})
}

func (e *Estimate) onPlane(a *assembly.Assembly, p *Plane, u assembly.Use) (quantity.Amount, string) {
	switch u.Per {
	case assembly.PerArea:
		return quantity.OfArea(p.Area), fmt.Sprintf("Plane %s: %.0f sqft on the slope.", p.Mark, p.Area.SquareFeet())
	case assembly.PerSquare:
		squares := p.Area.SquareFeet() / 100
		n := int64(math.Ceil(squares * float64(u.Times())))
		return quantity.Pieces(n), fmt.Sprintf("Plane %s: %.2f squares at %d each.", p.Mark, squares, u.Times())
	case assembly.PerPanel:
		n := int64(0)
		for _, panel := range p.Panels {
			n += int64(u.CountFor(panel.Cover))
		}
		return quantity.Pieces(n), fmt.Sprintf("Plane %s: %d panels.", p.Mark, len(p.Panels))
	case assembly.PerClip:
		return clips(p, u)
	case assembly.PerCut:
		var sum quantity.Length
		for _, panel := range p.Panels {
			sum += panel.Length
		}
		return quantity.OfLength(sum), fmt.Sprintf("Plane %s: %d panels, cut lengths together %s.", p.Mark, len(p.Panels), sum.Nearest(16))
	}
	return none(a, u), ""
}

// clips counts the clips of a plane seam by seam: one FromEave above the panel's low
// end, then one at each spacing and one at the highest place allowed.
func clips(p *Plane, u assembly.Use) (quantity.Amount, string) {
	total := int64(0)
	for i, panel := range p.Panels {
		spacing := u.Clips.Field
		if i < u.Clips.FirstPanels || i == len(p.Panels)-1 {
			spacing = u.Clips.Rake
		}
		total++
		if span := panel.Length - u.Clips.FromEave - u.Clips.FromRidge; span > 0 {
			total += int64((span + spacing - 1) / spacing)
		}
	}
	return quantity.Pieces(total * int64(u.Times())), fmt.Sprintf(
		"Plane %s: %d seams, clips from %s above the eave end, %s apart on the first %d and at the rake, %s elsewhere: %d clips, %d for each.",
		p.Mark, len(p.Panels), u.Clips.FromEave, u.Clips.Rake, u.Clips.FirstPanels, u.Clips.Field, total, u.Times())
}

func (e *Estimate) atEdge(a *assembly.Assembly, g Edge, u assembly.Use) (quantity.Amount, string) {
	times := int64(u.Times())
	switch u.Per {
	case assembly.PerStrip:
		area, ok := quantity.Rectangle(g.Length*quantity.Length(times), u.Width)
		if !ok {
			return none(a, u), ""
		}
		return quantity.OfArea(area), fmt.Sprintf("%s: %s, %d strips of %s.", g.Mark, g.Length.Nearest(16), times, u.Width)
	case assembly.PerLength, assembly.PerBead:
		sum := g.Length * quantity.Length(times)
		return quantity.OfLength(sum), fmt.Sprintf("%s: %d times %s.", g.Mark, times, g.Length.Nearest(16))
	case assembly.PerSpacing:
		n := (int64((g.Length+u.Spacing-1)/u.Spacing) + 1) * times
		return quantity.Pieces(n), fmt.Sprintf("%s: %s at %s and one at the end, %d rows: %d.", g.Mark, g.Length.Nearest(16), u.Spacing, times, n)
	case assembly.PerPanel:
		n, panels := int64(0), 0
		for i := range e.Planes {
			for _, panel := range e.Planes[i].Panels {
				if panel.LowEdge == g.Mark || panel.HighEdge == g.Mark {
					n += int64(u.CountFor(panel.Cover))
					panels++
				}
			}
		}
		return quantity.Pieces(n), fmt.Sprintf("%s: %d panel ends: %d.", g.Mark, panels, n)
	case assembly.PerJoint:
		m, ok := a.Material(u.Of)
		if !ok {
			return none(a, u), ""
		}
		joints := pieces(g.Length, m.Pack.Holds.Length(), e.lapOf(a, g.Kind, u.Of)) - 1
		return quantity.Pieces(joints * times), fmt.Sprintf("%s: %d joints between lengths of %s, %d for each.", g.Mark, joints, u.Of, times)
	}
	return none(a, u), ""
}

// lapOf is the lap between lengths of a material at a kind of edge.
func (e *Estimate) lapOf(a *assembly.Assembly, kind string, material events.MaterialID) quantity.Length {
	for _, s := range a.Steps(kind) {
		for _, u := range s.Uses {
			if u.Material == material && u.Per == assembly.PerLength {
				return u.EndLap
			}
		}
	}
	return 0
}

// pieces is how many stock lengths, each lapping the one before, cover a length.
func pieces(length, stock, lap quantity.Length) int64 {
	if length <= stock || stock <= lap {
		return 1
	}
	return 1 + int64((length-stock+stock-lap-1)/(stock-lap))
}

// none is nothing of a use's material: what an assembly asks for where it has no
// sense, such as courses along an edge.
func none(a *assembly.Assembly, u assembly.Use) quantity.Amount {
	m, ok := a.Material(u.Material)
	if !ok {
		return quantity.Amount{}
	}
	switch m.Kind() {
	case quantity.Lengthwise:
		return quantity.OfLength(0)
	case quantity.Areal:
		return quantity.OfArea(0)
	default:
		return quantity.Pieces(0)
	}
}

// order sums the demands and adds what laps and packs take.
func (e *Estimate) order(a *assembly.Assembly) error {
	for i := range a.Materials {
		m := &a.Materials[i]
		line := Line{Material: m.ID, Name: m.Name, Unit: m.Unit, OrderUnit: m.Unit}
		var with quantity.Amount
		var words []string
		for _, d := range e.Demands {
			if d.Material != m.ID {
				continue
			}
			lapped, why := e.lapped(a, m, d)
			net, err := line.Net.Add(d.Net)
			sum, err2 := with.Add(lapped)
			if err := errors.Join(err, err2); err != nil {
				return fmt.Errorf("sum %s at %s: %w", m.ID, d.Place, err)
			}
			line.Net, with = net, sum
			line.Places = append(line.Places, d.Place)
			words = append(words, d.Basis)
			if why != "" {
				words = append(words, why)
			}
		}
		if len(line.Places) == 0 {
			continue
		}
		line.Packs, line.Order = packs(m, with)
		if m.Pack.Noun != "" {
			line.OrderUnit = m.Pack.Noun
		}
		waste, err := line.Order.Sub(line.Net)
		if err != nil {
			return fmt.Errorf("waste of %s: %w", m.ID, err)
		}
		line.Waste = waste
		line.Basis = strings.Join(words, " ") + fmt.Sprintf(" In all %s with laps; bought as %d × %s.", with, line.Packs, orderWords(m))
		e.Lines = append(e.Lines, line)
	}
	return nil
}

func orderWords(m *assembly.Material) string {
	if m.Pack.Noun == "" {
		return m.Unit
	}
	return m.Pack.Noun + " of " + m.Pack.Holds.String()
}

// lapped is a demand with its laps: courses of a roll, or whole stock lengths.
func (e *Estimate) lapped(a *assembly.Assembly, m *assembly.Material, d Demand) (quantity.Amount, string) {
	use, kind := e.useOf(a, d)
	switch use.Per {
	case assembly.PerArea:
		net := m.Width - use.SideLap
		if net <= 0 {
			return d.Net, ""
		}
		gross := quantity.Area(math.Ceil(float64(d.Net.Area()) * float64(m.Width) / float64(net)))
		return quantity.OfArea(gross), fmt.Sprintf("Side laps of %s on a %s roll add %.0f sqft.", use.SideLap, m.Width, (gross - d.Net.Area()).SquareFeet())
	case assembly.PerLength:
		stock := m.Pack.Holds.Length()
		if stock <= 0 || kind == "" {
			return d.Net, ""
		}
		run := d.Net.Length() / quantity.Length(use.Times())
		n := pieces(run, stock, use.EndLap) * int64(use.Times())
		gross := d.Net.Length() + use.EndLap*quantity.Length(n-int64(use.Times()))
		return quantity.OfLength(gross), fmt.Sprintf("%d lengths of %s lapped %s.", n, stock, use.EndLap)
	}
	return d.Net, ""
}

func (e *Estimate) useOf(a *assembly.Assembly, d Demand) (assembly.Use, string) {
	kind := assembly.PlaneKind
	for _, g := range e.Edges {
		if g.Mark == d.Place {
			kind = g.Kind
		}
	}
	for _, s := range a.Steps(kind) {
		if s.ID != d.Step {
			continue
		}
		for _, u := range s.Uses {
			if u.Material == d.Material {
				return u, kind
			}
		}
	}
	return assembly.Use{}, ""
}

// packs rounds an amount up to what is bought.
func packs(m *assembly.Material, a quantity.Amount) (int64, quantity.Amount) {
	one, n := int64(1), int64(0)
	switch a.Kind() {
	case quantity.Lengthwise:
		if m.Pack.Noun != "" {
			one = int64(m.Pack.Holds.Length())
		}
		n = (int64(a.Length()) + one - 1) / one
		return n, quantity.OfLength(quantity.Length(n * one))
	case quantity.Areal:
		if m.Pack.Noun != "" {
			one = int64(m.Pack.Holds.Area())
		}
		n = (int64(a.Area()) + one - 1) / one
		return n, quantity.OfArea(quantity.Area(n * one))
	default:
		one = 1000
		if m.Pack.Noun != "" {
			one = m.Pack.Holds.Thousandths()
		}
		n = (a.Thousandths() + one - 1) / one
		return n, quantity.Packs(n*one, quantity.Each)
	}
}
