package weather_test

import (
	"math"
	"testing"

	"bydark/services/assembly"
	"bydark/services/weather"
)

// windRows are velocity pressure, exposure and zone coefficients, and clips.
var windRows = map[string]verdict{
	"kz_": check(kz(weather.ASCE716)), "kz_22": check(kz(weather.ASCE722)),
	"const_00256": check(func(t *testing.T, r row) any {
		pa := 0.5 * r.in(t, "rho_kg_m3") * weather.MSPerMPH * weather.MSPerMPH
		ours := weather.VelocityPressurePSF(1, 1, 1, 1, 1)
		if math.Abs(pa/weather.PaPerPSF-ours) > 1e-5 {
			t.Errorf("half the density gives %v", pa/weather.PaPerPSF)
		}
		return ours
	}),
	"irc_0_7_z1": check(cladding(4, field)), "irc_0_7_z3": check(cladding(4, corners)),
	"irc_7_27_z1": check(cladding(20, field)), "irc_7_27_pos": check(cladding(20, inward)),
	"stl_150B_7_27_z1": check(cladding(20, field)), "stl_150B_7_27_z2": check(cladding(20, edges)),
	"stl_150B_7_27_z3": check(cladding(20, corners)), "stl_150B_27_45_z2": check(cladding(40, edges)),
	"stl_160": check(heightFactor),
	"edge_strip": check(func(t *testing.T, r row) any {
		return weather.EdgeStripFt(min(r.in(t, "L_ft"), r.in(t, "W_ft")), r.in(t, "h_ft"))
	}),
	// The guide's furthest clips; ours are common practice, and the tested system's decide.
	"ufc_clip_field": check(clips(func(c *assembly.Clips) float64 { return c.Field.Inches() })),
	"ufc_clip_edge":  check(clips(func(c *assembly.Clips) float64 { return c.Rake.Inches() })),
	"clip_load": check(func(t *testing.T, r row) any {
		return weather.ClipLoadN(r.in(t, "p_psf")*weather.PaPerPSF, r.in(t, "panel_in")*0.0254, r.in(t, "clip_in")*0.0254) / weather.NPerLbf
	}),
	"clip_spacing": check(func(t *testing.T, r row) any {
		spacing := weather.ClipSpacingM(r.in(t, "p_psf")*weather.PaPerPSF, r.in(t, "panel_in")*0.0254, r.in(t, "clip_lb")*weather.NPerLbf)
		if load := weather.ClipLoadN(r.in(t, "p_psf")*weather.PaPerPSF, r.in(t, "panel_in")*0.0254, spacing) / weather.NPerLbf; math.Abs(load-r.in(t, "clip_lb")) > 1e-9 {
			t.Errorf("at that spacing a clip takes %g lb", load)
		}
		return spacing / 0.0254
	}),
}

func kz(e weather.WindEdition) func(*testing.T, row) any {
	return func(t *testing.T, r row) any {
		v, err := e.Kz(r.text(t, "exposure"), r.in(t, "z_ft"))
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func field(z weather.ZoneCoefficient) float64   { return z.Field }
func edges(z weather.ZoneCoefficient) float64   { return z.Edge }
func corners(z weather.ZoneCoefficient) float64 { return z.Corner }
func inward(z weather.ZoneCoefficient) float64  { return z.Inward }

// cladding reckons a cell of the residential tables with our coefficient for the slope and
// zone, which must be the one that the row says lies behind its cell. The tables' basis
// is Kz 0.70 (30 ft, exposure B, floor of low buildings) and Kd 0.85, allowable stress.
func cladding(slopeDeg float64, of func(weather.ZoneCoefficient) float64) func(*testing.T, row) any {
	return func(t *testing.T, r row) any {
		z, ok := weather.ZoneFor(slopeDeg)
		if !ok || of(z) != r.in(t, "GCp") {
			t.Errorf("our coefficient is %g", of(z))
		}
		q := weather.VelocityPressurePSF(r.in(t, "V_mph"), 0.7, 1, 0.85, 1) * weather.AllowableFactor
		return weather.CladdingPressurePSF(q, of(z), r.in(t, "GCpi"))
	}
}

// heightFactor is the residential table's factor for height and exposure: the ratio of
// Kz to the 0.70 that exposure B has at 30 ft.
func heightFactor(t *testing.T, r row) any {
	v, err := weather.ASCE716.Kz(r.text(t, "exposure"), r.in(t, "h_ft"))
	if err != nil {
		t.Fatal(err)
	}
	return r.in(t, "base_psf") * v / 0.70
}

// clips is the widest spacing of clips in the shipped assemblies, which must not be wider than
// published.
func clips(spacing func(*assembly.Clips) float64) func(*testing.T, row) any {
	return func(t *testing.T, _ row) any {
		widest := 0.0
		for _, name := range assembly.Shipped() {
			for _, s := range shippedAs(t, name).Plane {
				for _, u := range s.Uses {
					if u.Clips != nil {
						widest = math.Max(widest, spacing(u.Clips))
					}
				}
			}
		}
		if widest == 0 {
			t.Error("no assembly has clips")
		}
		return atMost(widest)
	}
}
