package night

import (
	"math"

	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/roofjob"
	"bydark/services/takeoff"
	"bydark/services/weather"
)

// opening is the chimney, curb or pipe at a place; nil for planes and edges.
func (b *standing) opening(p roofjob.Place) *takeoff.Opening {
	all := b.state.Estimate().Openings
	for i := range all {
		if all[i].Mark == p.Mark {
			return &all[i]
		}
	}
	return nil
}

// steps are the steps at a place, in order.
func (b *standing) steps(p roofjob.Place) []assembly.Step {
	if steps := b.state.Estimate().StepsAt(p.Mark); steps != nil {
		return steps
	}
	return b.assembly.Steps(p.Kind)
}

// round are the ways in about an opening that panels lie at and that is not flashed: what
// runs down the slope to its head, and rain that wind drives on to its faces and so into the
// panels' ends beneath them. What goes in is taken off no other place's water: it is little.
func (b *standing) round(p roofjob.Place, o *takeoff.Opening) []weather.Opening {
	share := b.openShare(p) * under(p)
	plane, ok := b.planes[o.Plane]
	drawn, found := b.roof.Plane(roof.PlaneMark(o.Plane))
	if !ok || !found || share == 0 || plane.SetShare() == 0 {
		return nil
	}
	ways := []weather.Opening{{DrainedM2: o.Above.SquareMetres() * share, RunoffShare: 1, RunoffC: weather.MetalRunoffC, WindFactor: 1}}
	height := b.assembly.GapAt(p.Kind).Metres()
	for _, face := range []struct {
		length float64
		turn   float64 // from the fall
	}{{o.Apron.Metres(), 0}, {o.Head.Metres(), 180}, {o.Sides.Metres() / 2, 90}, {o.Sides.Metres() / 2, 270}} {
		if face.length > 0 && height > 0 {
			ways = append(ways, weather.Opening{LengthM: face.length * share, HeightM: height, FacingDeg: math.Mod(drawn.FallsDeg+face.turn, 360), WindFactor: 1})
		}
	}
	return ways
}
