package night

import (
	"fmt"
	"math"
	"strings"
	"time"

	"bydark/services/roofjob"
	"bydark/services/weather"
)

// leastGustMPH is the gust from which wind on what is loose is told: fresh breeze of the
// Beaufort scale, at which loose sheets begin to lift (house default).
const leastGustMPH = 19

const (
	ruleRain = "direct: plan area times rain; run-off: rational method, Q = C·i·A; driven: ISO 15927-3, I = 2/9·v·r^(8/9)·cos D"
	ruleSun  = "the assembly's limit for its underlayment"
	ruleDew  = "Magnus formula, WMO No. 8 annex 4.B; bare metal under a clear night sky taken 5 °C below the air (common practice)"
)

// reasons says what the night does to a place.
func (p *Place) reasons(st Stand, w Window, told Told) {
	p.rain(st, w)
	p.wind(st, w, told)
	p.sun(st, w)
	p.cold(st, w, told)
}

func (p *Place) rain(st Stand, w Window) {
	if len(st.Ways) == 0 {
		return
	}
	var bare, drained float64
	var gaps []string
	for _, o := range st.Ways {
		bare += o.BareM2
		drained += o.DrainedM2 * o.RunoffShare
		if o.LengthM > 0 {
			gaps = append(gaps, fmt.Sprintf("a gap of %.1f ft by %.1f in looks %s", o.LengthM/metresPerFoot, o.HeightM/metresPerFoot*12, compassPoint(o.FacingDeg)))
		}
	}
	var ways []string
	covered := st.State == roofjob.Covered
	if bare > 0 && covered {
		ways = append(ways, fmt.Sprintf("past its cover comes as much as falls on %s, a share of %d %% of the bare deck beneath", area(bare), 100-roofjob.CoverSharePct))
	} else if bare > 0 {
		ways = append(ways, fmt.Sprintf("rain falls on %s of bare deck", area(bare)))
	}
	if drained > 0 && covered {
		ways = append(ways, fmt.Sprintf("as much as runs off %s of roof above runs in under the cover", area(drained)))
	} else if drained > 0 {
		ways = append(ways, fmt.Sprintf("water of %s of roof above runs into it", area(drained)))
	}
	ways = append(ways, gaps...)
	text := fmt.Sprintf("%s expected by %s, %s if it rains", Volume(p.Water.ExpectedL), w.clock(w.Start), Volume(p.Water.IfRainL))
	if !p.Worst.IsZero() {
		text += fmt.Sprintf(", worst in the hour from %s (%s)", w.clock(p.Worst), Volume(p.WorstL))
	}
	p.Reasons = append(p.Reasons, Reason{"rain", text + ": " + strings.Join(ways, "; ") + ".", st.ClosesWith, ruleRain})
}

// Volume shows US gallons and litres.
func Volume(litres float64) string {
	switch {
	case litres < 0.05:
		return "0 gal"
	case litres < 10:
		return fmt.Sprintf("%.1f gal (%.1f l)", weather.Gallons(litres), litres)
	}
	return fmt.Sprintf("%.0f gal (%.0f l)", weather.Gallons(litres), litres)
}

const metresPerFoot = 0.3048

// area shows square feet and square metres.
func area(m2 float64) string {
	return fmt.Sprintf("%.0f sqft (%.1f m²)", m2/metresPerFoot/metresPerFoot, m2)
}

// rainfall shows inches and millimetres.
func rainfall(mm float64) string {
	if mm < 0.05 {
		return "0 in"
	}
	return fmt.Sprintf("%.2f in (%.1f mm)", mm/25.4, mm)
}

func compassPoint(deg float64) string {
	points := [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	return points[int(math.Round(math.Mod(deg+360, 360)/45))%len(points)]
}

// gust is the strongest wind that a forecast has over a time; zero where it says none.
type gust struct {
	mph float64
	at  time.Time
}

func gustOf(hours []weather.Hour, from, to time.Time) gust {
	var g gust
	for _, h := range hours {
		if !h.Time.Before(to) || !h.Time.Add(time.Hour).After(from) {
			continue
		}
		if v := math.Max(h.GustMS.Or(0), h.WindMS.Or(0)) / weather.MSPerMPH; v > g.mph {
			g = gust{v, h.Time}
		}
	}
	return g
}

// wind tells the pull of the night's strongest gust on what is loose: a caution that a
// person judges. Nobody has published figures for a roof partly built.
func (p *Place) wind(st Stand, w Window, told Told) {
	g := gustOf(told.Forecast.Hours, w.From(), w.Start)
	if g.mph < leastGustMPH || st.Layer == nil && st.Panels == nil {
		return
	}
	z := st.Zones
	if z == nil {
		return
	}
	edition := weather.ASCE716
	if z.Edition == weather.ASCE722.Name {
		edition = weather.ASCE722
	}
	kz, err := edition.Kz("C", st.HeightFt)
	if err != nil {
		return
	}
	// The gust is a forecast one and not a design wind, so no directionality factor
	// lowers it.
	q := weather.VelocityPressurePSF(g.mph, kz, 1, 1, 1)
	lift := fmt.Sprintf("A gust of %.0f mph at %s presses %.1f psf", g.mph, w.clock(g.at), q)
	rule := fmt.Sprintf("%s velocity pressure, exposure C at %.0f ft", edition.Name, st.HeightFt)
	var field, corner float64
	if z.Figure == "" {
		lift += fmt.Sprintf("; the coefficients of %s have no figure for this slope, so its lift is not reckoned", z.Edition)
	} else {
		field, corner = -weather.CladdingPressurePSF(q, z.Field, weather.EnclosedGCpi), -weather.CladdingPressurePSF(q, z.Worst, weather.EnclosedGCpi)
		lift += fmt.Sprintf("; it may lift with %.1f psf in the field and %.1f psf in zone %s, within %.0f ft of edges", field, corner, z.Zone, math.Ceil(z.StripFt))
		rule += fmt.Sprintf(", with zone coefficients of %s, %s (%s)", z.Edition, z.Basis, z.Source)
	}
	if !z.Named {
		rule += "; the assembly names no edition, and later ones lift harder at some corners: name the one that the code adopts"
	}
	rule += ". For finished roofs: on a roof partly built it is a caution that a person judges, never a check of capacity"
	if l := st.Layer; l != nil {
		p.Reasons = append(p.Reasons, Reason{"wind", fmt.Sprintf("%s: %s of %s is held by its fasteners alone. A caution, no check of capacity.", lift, area(l.BareM2), l.Step), l.EndsWith, rule})
	}
	if s := st.Panels; s != nil {
		p.Reasons = append(p.Reasons, Reason{"wind", fmt.Sprintf("%s: %d %% of the panels are set and the plane is not closed round them.%s A caution, no check of capacity.", lift, s.SetPct, s.clips(field, corner)), s.EndsWith, rule})
	}
}

// clips tells the pull on one clip, beside what it may take where somebody entered that.
func (s *Panels) clips(fieldPSF, cornerPSF float64) string {
	if s.FieldM == 0 || fieldPSF == 0 {
		return ""
	}
	field := weather.ClipLoadN(fieldPSF*weather.PaPerPSF, s.CoverM, s.FieldM)
	corner := weather.ClipLoadN(cornerPSF*weather.PaPerPSF, s.CoverM, s.RakeM)
	text := fmt.Sprintf(" Pull on one clip %.0f lb (%.0f N) in the field at %.0f in, %.0f lb (%.0f N) at corners at %.0f in.",
		field/weather.NPerLbf, field, s.FieldM/metresPerFoot*12, corner/weather.NPerLbf, corner, s.RakeM/metresPerFoot*12)
	if s.Allowable > 0 {
		text += fmt.Sprintf(" The tested system allows %.0f N (%s).", s.Allowable, s.TestedBy)
	}
	return text
}

// sun tells how long the underlayment has lain in the sun when the night begins.
func (p *Place) sun(st Stand, w Window) {
	l := st.Layer
	if l == nil || l.LimitDays == 0 {
		return
	}
	days := weather.SunDays(l.Laid, w.From())
	limit := l.Laid.AddDate(0, 0, l.LimitDays).In(w.Zone).Format("2 Jan")
	text := fmt.Sprintf("%s of %s has lain in the sun for %.1f of the %d days that it may: cover it by %s.", area(l.BareM2), l.Step, days, l.LimitDays, limit)
	if days > float64(l.LimitDays) {
		text = fmt.Sprintf("%s of %s has lain in the sun for %.1f days, %.1f more than the %d that it may: ask its maker before anything is laid over it.", area(l.BareM2), l.Step, days, days-float64(l.LimitDays), l.LimitDays)
	}
	p.Reasons = append(p.Reasons, Reason{"sun", text, l.EndsWith, ruleSun})
}

// cold tells whether dew or frost is to be expected on the metal of a plane.
func (p *Place) cold(st Stand, w Window, told Told) {
	if st.Panels == nil {
		return
	}
	var dew, frost struct {
		at           time.Time
		metalC, dewC float64
	}
	for _, h := range told.Forecast.Hours {
		if !h.Time.Before(w.Start) || !h.Time.Add(time.Hour).After(w.From()) || !h.TempC.Known || !h.DewC.Known {
			continue
		}
		metal := weather.MetalNightC(h.TempC.V, h.SkyPct.Or(0))
		switch {
		case metal <= 0 && metal <= weather.FrostPointC(h.DewC.V):
			if frost.at.IsZero() {
				frost.at, frost.metalC, frost.dewC = h.Time, metal, weather.FrostPointC(h.DewC.V)
			}
		case metal <= h.DewC.V && dew.at.IsZero():
			dew.at, dew.metalC, dew.dewC = h.Time, metal, h.DewC.V
		}
	}
	if !frost.at.IsZero() {
		p.Reasons = append(p.Reasons, Reason{"frost", fmt.Sprintf("From %s the metal may be at %.1f °C, below the frost point of %.1f °C: nobody on it until it is gone.", w.clock(frost.at), frost.metalC, frost.dewC), "", ruleDew})
	}
	if !dew.at.IsZero() {
		p.Reasons = append(p.Reasons, Reason{"dew", fmt.Sprintf("From %s the metal may be at %.1f °C, below the dew point of %.1f °C: wet and slick, and nothing sticks to it until it is %.0f °C above the dew point.", w.clock(dew.at), dew.metalC, dew.dewC, weather.CoatingMarginC), "", ruleDew})
	}
}
