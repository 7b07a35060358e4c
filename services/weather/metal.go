package weather

import (
	"math"
	"strings"
)

// Metal is what a roof's sheet is of: how it moves with heat and what it weighs. Alloys
// differ by a few percent; the mill's own figure is better where it is known.
type Metal struct {
	Name          string
	ExpansionPerC float64 // linear, per degree C, about 20 to 100 °C
	DensityKGM3   float64
	Source        string
}

// Metals are those that standing seam roofs are made of.
var Metals = [...]Metal{
	{"steel", 12.0e-6, 7850, "expansion: New Zealand metal roof code of practice E2 and NRCA 6.7e-6/°F; density: EN 1991-1-1 table A.4 from memory, 489.6 lb/ft³ in the Canadian sheet steel fact sheet"},
	{"stainless", 17.3e-6, 7900, "expansion: 9.6e-6/°F, type 304, quoted handbook list; density from memory (EN 10088-1)"},
	{"aluminum", 23.6e-6, 2713, "expansion: 13.1e-6/°F, alloy 1100, handbook table (tables run from 23.1 to 25); density 0.098 lb/in³ from memory"},
	{"copper", 17.0e-6, 8913, "expansion: OpenStax College Physics table 13.2; density 0.322 lb/in³ from memory"},
	{"zinc", 22.0e-6, 7200, "EN 988 titanium zinc along the rolling direction, from memory"},
}

// MetalNamed finds a metal by the name in Metals, or by "aluminium" or "stainless steel".
// An unknown name is an *events.Refusal.
func MetalNamed(name string) (Metal, error) {
	switch name {
	case "aluminium":
		name = "aluminum"
	case "stainless steel":
		name = "stainless"
	}
	var known []string
	for _, m := range Metals {
		if m.Name == name {
			return m, nil
		}
		known = append(known, m.Name)
	}
	return Metal{}, refuse(CodeUnknown, "metal", name, "one of "+strings.Join(known, ", "))
}

// Movement is how much a length changes when the metal's temperature changes by
// changeC: ΔL = L · α · ΔT, in the length's own unit; shorter is negative.
func (m Metal) Movement(length, changeC float64) float64 {
	return length * m.ExpansionPerC * changeC
}

// BareSunRiseC is how far bare sheet in full sun stands above the air: 90 °F of air gave 145
// °F of unpainted metal within 10 (NFBA magazine, January 2023). Dark and insulated sheet
// stands higher: the New Zealand code of practice E2 reckons with 80 °C.
const BareSunRiseC = 30

// BareSunC is the temperature to expect of bare sheet in full sun in air of airC.
func BareSunC(airC float64) float64 { return airC + BareSunRiseC }

// GapLeft is the gap to leave today at metalC so that the piece has closed it, and no
// more, at hottestC: the movement still to come, not below zero. Metal temperatures, not
// air: see BareSunC.
func (m Metal) GapLeft(length, metalC, hottestC float64) float64 {
	return math.Max(0, m.Movement(length, hottestC-metalC))
}

// MassKG is the mass of flat sheet: density × thickness × width × length, metres in.
// Coil is sold by scale weight; coatings add to it and thickness tolerances too.
func (m Metal) MassKG(thicknessM, widthM, lengthM float64) float64 {
	return m.DensityKGM3 * thicknessM * widthM * lengthM
}
