package night

import (
	"math"
	"slices"

	"bydark/services/roof"
	"bydark/services/weather"
	"bydark/services/windzone"
)

// Zones are the wind zone coefficients at a plane, for the effective wind area of its clips: of
// the field and of the zone that the wind lifts hardest.
type Zones struct {
	Edition string  `json:"edition"`
	Named   bool    `json:"named"` // by the assembly; otherwise the program's default
	Basis   string  `json:"basis"` // see windzone.Table
	Source  string  `json:"source"`
	Figure  string  `json:"figure,omitempty"` // empty where the table has no such roof
	Field   float64 `json:"field"`
	Worst   float64 `json:"worst"`
	Zone    string  `json:"worst_zone"`
	// StripFt is the width of the zones along the roof's edges.
	StripFt float64 `json:"strip_ft"`
}

// zones looks the plane up in the table that the assembly names, or in the default one.
func (b *standing) zones(drawn *roof.Plane, st *Stand) *Zones {
	var choice windzone.Choice
	if b.assembly.Wind != nil {
		choice = *b.assembly.Wind
	}
	t := choice.Chosen()
	z := &Zones{Edition: t.Edition, Named: b.assembly.Wind != nil, Basis: t.Basis, Source: t.Source}
	shape := windzone.Gable
	for _, e := range b.roof.Edges {
		if e.Kind == roof.Hip && slices.Contains(e.Planes, drawn.Mark) {
			shape = windzone.Hip
		}
	}
	r, ok := t.Find(shape, st.PitchDeg)
	if !ok {
		return z
	}
	z.Figure = r.Figure
	z.Field, z.Worst, z.Zone = r.Field(b.clipAreaFt2())
	z.StripFt = weather.EdgeStripFt(leastWidthFt(b.roof), st.HeightFt)
	return z
}

// clipAreaFt2 is the effective wind area of a clip in the field, or the smallest of the figures
// where the assembly has no clips.
func (b *standing) clipAreaFt2() float64 {
	for _, step := range b.assembly.Plane {
		for _, use := range step.Uses {
			if use.Clips != nil {
				return windzone.EffectiveAreaFt2(use.Clips.Field.Feet(), b.assembly.Panel.Cover.Feet())
			}
		}
	}
	return 1
}

// leastWidthFt is the least width of a roof in plan: between two parallel lines that hold all of it,
// looked for across each of its edges.
func leastWidthFt(r *roof.Roof) float64 {
	var at [][2]float64
	for _, p := range r.Planes {
		for _, c := range p.Outline {
			at = append(at, [2]float64{c.X.Feet(), c.Y.Feet()})
		}
	}
	least := math.Inf(1)
	for _, e := range r.Edges {
		dx, dy := (e.To.X - e.From.X).Feet(), (e.To.Y - e.From.Y).Feet()
		long := math.Hypot(dx, dy)
		low, high := math.Inf(1), math.Inf(-1)
		for _, c := range at {
			across := (c[1]*dx - c[0]*dy) / long
			low, high = math.Min(low, across), math.Max(high, across)
		}
		least = math.Min(least, high-low)
	}
	return least
}
