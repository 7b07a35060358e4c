package takeoff

import (
	"fmt"
	"math"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// Demand is the need of one material by one step at one place.
type Demand struct {
	Place    events.Place
	Step     events.StepID
	Material events.MaterialID
	// Net is what stays on the roof; Laps is what lies double or is cut off beside it at
	// this place, before stock lengths are shared with other places.
	Net, Laps quantity.Amount
	// Basis is how it was reckoned, in one sentence with the numbers in it.
	Basis string

	pieces []quantity.Length // what is cut of stock lengths
}

type need struct {
	net, laps quantity.Amount
	basis     string
	pieces    []quantity.Length
}

// demand adds a need; the same material twice in one step makes one demand.
func (e *Estimate) demand(place events.Place, step events.StepID, material events.MaterialID, n need) {
	for i := len(e.Demands) - 1; i >= 0; i-- {
		d := &e.Demands[i]
		if d.Place != place || d.Step != step {
			break
		}
		if d.Material == material {
			d.Net, d.Laps = plus(d.Net, n.net), plus(d.Laps, n.laps)
			d.Basis += "; " + n.basis
			d.pieces = append(d.pieces, n.pieces...)
			return
		}
	}
	e.Demands = append(e.Demands, Demand{place, step, material, n.net, n.laps, n.basis, n.pieces})
}

// plus adds amounts of one material. They are alike, since assembly.Read lets a use only
// have a material of its own unit, and fit, since a roof lies within its reach.
func plus(a, b quantity.Amount) quantity.Amount {
	sum, err := a.Add(b)
	if err != nil {
		panic(fmt.Sprintf("takeoff: %s and %s: %v", a, b, err))
	}
	return sum
}

func eachNeed(n int64, format string, args ...any) need {
	return need{net: quantity.Pieces(n), laps: quantity.Pieces(0), basis: fmt.Sprintf(format, args...) + fmt.Sprintf(": %d", n)}
}

// onPlane is what a use takes on a plane; false when its rule is one for edges.
func (e *Estimate) onPlane(a *assembly.Assembly, p *Plane, u assembly.Use) (need, bool) {
	m, _ := a.Material(u.Material)
	times := int64(u.Times())
	switch u.Per {
	case assembly.PerArea:
		return e.onArea(p, m, u), true
	case assembly.PerSquare:
		n := int64(math.Ceil(float64(p.Area) / float64(quantity.Square) * float64(times)))
		return eachNeed(n, "plane %s is %.2f squares at %d each", p.Mark, p.Area.SquareFeet()/100, times), true
	case assembly.PerPanel:
		n := int64(0)
		for i := range p.Panels {
			n += int64(u.CountFor(p.Panels[i].Cover))
		}
		return eachNeed(n, "%d panels of plane %s%s", len(p.Panels), p.Mark, perPanel(u)), true
	case assembly.PerClip:
		clips, basis := e.clips(p, u.Clips)
		if times > 1 {
			return eachNeed(clips*times, "%s, %d for each of %d clips", basis, times, clips), true
		}
		return eachNeed(clips, "%s", basis), true
	case assembly.PerCut:
		n := need{laps: quantity.OfLength(0)}
		longest, sum := quantity.Length(0), quantity.Length(0)
		for i := range p.Panels {
			l := p.Panels[i].Length
			n.pieces = append(n.pieces, l)
			sum, longest = sum+l, max(longest, l)
		}
		n.net = quantity.OfLength(sum)
		n.basis = fmt.Sprintf("%d panels of plane %s, the longest %s, cut lengths together %s", len(p.Panels), p.Mark, longest, sum)
		return n, true
	}
	return need{}, false
}

func (e *Estimate) onArea(p *Plane, m *assembly.Material, u assembly.Use) need {
	c := e.cut.courses(p, m, u)
	laps := max(c.area-p.Area, 0)
	return need{
		net: quantity.OfArea(p.Area), laps: quantity.OfArea(laps),
		basis: fmt.Sprintf("plane %s is %s on the slope; %d courses of %s, %s to the weather, together %s long with %d end laps of %s: %s off the roll",
			p.Mark, feet2(p.Area), c.count, m.Width, m.Width-u.SideLap, c.length.Nearest(16), c.joins, u.EndLap, feet2(c.area)),
	}
}

func feet2(a quantity.Area) string { return fmt.Sprintf("%.1f sqft", a.SquareFeet()) }

func perPanel(u assembly.Use) string {
	if len(u.ByCover) > 0 {
		return ", by their cover"
	}
	return fmt.Sprintf(", %d each", u.Times())
}
