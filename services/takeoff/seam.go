package takeoff

import (
	"fmt"
	"math"
	"slices"

	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
)

// seam is a stretch of a panel's leading side, over which the next panel hooks or which
// ends the plane: clips stand along it.
type seam struct {
	low, high quantity.Length // above the plane's lowest place
	inside    quantity.Length // from the nearer side of the plane
	rake      bool
}

func (l *lay) seams(sheet []slab, from string) []seam {
	at := sheet[len(sheet)-1].right
	if from == FromRight {
		at = sheet[0].left
	}
	var all []seam
	for i := range sheet {
		s := &sheet[i]
		end, low, high := s.right, s.lowRight, s.highRight
		if from == FromRight {
			end, low, high = s.left, s.lowLeft, s.highLeft
		}
		if end != at || high-low <= hair {
			continue
		}
		all = append(all, seam{nanometres(low - l.foot), nanometres(high - l.foot), nanometres(min(at-l.low, l.high-at)), l.onRake(at)})
	}
	return all
}

// onRake tells whether a rake of the plane runs at u.
func (l *lay) onRake(u float64) bool {
	for i := range l.sides {
		s := &l.sides[i]
		if s.kind == roof.Rake && math.Abs(s.a.u-u) <= hair && math.Abs(s.b.u-u) <= hair {
			return true
		}
	}
	return false
}

// clips counts the clips of a plane, seam by seam, and says how.
func (e *Estimate) clips(p *Plane, k *assembly.Clips) (clips int64, basis string) {
	var atRake, inField int64
	seams := 0
	for i := range p.Panels {
		panel := &p.Panels[i]
		for _, s := range panel.seams {
			if s.rake || panel.strip < k.FirstPanels {
				atRake += e.along(p, s, k, k.Rake)
			} else {
				inField += e.along(p, s, k, k.Field)
			}
			seams++
		}
	}
	basis = fmt.Sprintf("%d seams of plane %s, the lowest clip %s up, the highest %s down", seams, p.Mark, k.FromEave, k.FromRidge)
	if atRake > 0 {
		basis += fmt.Sprintf(", %d clips at most %s apart at the rake and on the first panels", atRake, k.Rake)
	}
	if inField > 0 {
		basis += fmt.Sprintf(", %d clips at most %s apart in the field", inField, k.Field)
	}
	if len(e.layout.Zones) > 0 {
		basis += ", closer in the zones given"
	}
	return atRake + inField, basis
}

// along counts the clips of one seam. The first stands FromEave above its low end and the
// last FromRidge below its high end; a seam too short for both has one. Where zones begin
// or end, a clip stands.
func (e *Estimate) along(p *Plane, s seam, k *assembly.Clips, spacing quantity.Length) int64 {
	low, high := s.low+k.FromEave, s.high-k.FromRidge
	if low >= high {
		return 1
	}
	if len(e.layout.Zones) == 0 {
		return 1 + int64((high-low+spacing-1)/spacing)
	}
	marks := []quantity.Length{low, high}
	for _, z := range e.layout.Zones {
		for _, at := range z.bounds(p) {
			if z.isOn(p) && at > low && at < high {
				marks = append(marks, at)
			}
		}
	}
	slices.Sort(marks)
	clips := int64(1)
	for i := 1; i < len(marks); i++ {
		closest := spacing
		middle := marks[i-1] + (marks[i]-marks[i-1])/2
		for _, z := range e.layout.Zones {
			if z.isOn(p) && z.holds(p, s, middle) {
				closest = min(closest, z.Spacing)
			}
		}
		clips += int64((marks[i] - marks[i-1] + closest - 1) / closest)
	}
	return clips
}

func (z *Zone) isOn(p *Plane) bool { return z.Plane == "" || string(z.Plane) == string(p.Mark) }

// bounds are the heights at which the zone begins or ends on a seam.
func (z *Zone) bounds(p *Plane) []quantity.Length {
	switch z.Along {
	case "eave":
		return []quantity.Length{z.Depth}
	case "ridge":
		return []quantity.Length{p.Height - z.Depth}
	}
	return nil
}

func (z *Zone) holds(p *Plane, s seam, at quantity.Length) bool {
	switch z.Along {
	case "eave":
		return at < z.Depth
	case "ridge":
		return at > p.Height-z.Depth
	default:
		return s.inside < z.Depth
	}
}
