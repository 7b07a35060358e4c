package weather

import (
	"fmt"
	"math"
	"time"
)

// Opening is a place where water gets into a roof that is not finished: bare deck, a
// panel's open end, a valley without its metal. The zero value is closed.
type Opening struct {
	// BareM2 is the plan area of deck on which rain falls straight in.
	BareM2 float64 `json:"bare_m2,omitempty"`
	// LengthM and HeightM are of the upright gap that driven rain enters, FacingDeg the
	// compass bearing towards which it looks.
	LengthM   float64 `json:"length_m,omitempty"`
	HeightM   float64 `json:"height_m,omitempty"`
	FacingDeg float64 `json:"facing_deg,omitempty"`
	// DrainedM2 is the plan area of the planes above whose water reaches the opening,
	// RunoffShare how much of it goes in and not over: 1 where nobody knows better.
	DrainedM2   float64 `json:"drained_m2,omitempty"`
	RunoffShare float64 `json:"runoff_share,omitempty"`
	// RunoffC is the share of rain that runs off the planes above, 1 for metal.
	RunoffC float64 `json:"runoff_c,omitempty"`
	// WindFactor is from the forecast's wind at 10 m in the open to the wind at the
	// opening: Terrain.Roughness, or 1 where nobody knows better.
	WindFactor float64 `json:"wind_factor,omitempty"`
}

// Litres is the water that enters an opening, by its way in.
type Litres struct {
	Direct float64 `json:"direct_l"` // rain on bare deck
	Runoff float64 `json:"runoff_l"` // down from the planes above
	Driven float64 `json:"driven_l"` // by wind into the upright gap
}

// Total is all of it.
func (l Litres) Total() float64 { return l.Direct + l.Runoff + l.Driven }

// Plus adds two waters.
func (l Litres) Plus(m Litres) Litres {
	return Litres{l.Direct + m.Direct, l.Runoff + m.Runoff, l.Driven + m.Driven}
}

// Gallons turns litres into US gallons.
func Gallons(litres float64) float64 { return litres / LitresPerGallon }

// Enters is the water that enters o in hours of steady rain of rainMMH and a wind of
// windMS from windFromDeg:
//
//	direct = A · r · t          a millimetre on a square metre is a litre
//	run-off = share · C · A · r · t  (rational method, RunoffLS)
//	driven = L · h · 2/9 · v · r^(8/9) · cos(D − θ) · t  (ISO 15927-3, DrivingRainMM)
//
// Driven rain grows a little slower than the rain, with its 8/9th power; the other two
// are in proportion to it. It is an upper figure for a gap: eaves and scaffolds shelter,
// and a gap takes in no more than the free rain that its height cuts.
func (o Opening) Enters(rainMMH, windMS, windFromDeg, hours float64) Litres {
	if rainMMH <= 0 || hours <= 0 {
		return Litres{}
	}
	driven := DrivingRainMM(rainMMH, windMS*o.WindFactor, windFromDeg-o.FacingDeg)
	return Litres{
		Direct: o.BareM2 * rainMMH * hours,
		Runoff: o.RunoffShare * RunoffLS(o.DrainedM2, rainMMH, o.RunoffC) * 3600 * hours,
		Driven: o.LengthM * o.HeightM * driven * hours,
	}
}

// Assumed is what stands in where a forecast is silent.
type Assumed struct {
	// RainMMH is the rain of an hour that no forecast speaks of, and the least rain "if
	// it rains". 2.5 mm/h is where light rain ends and moderate begins (AMS Glossary of
	// Meteorology, from memory).
	RainMMH float64
	// WindMS blows straight at every opening when the wind is not known.
	WindMS float64
}

// UsualAssumed is moderate rain and a fresh breeze (8 m/s, Beaufort 5).
var UsualAssumed = Assumed{RainMMH: 2.5, WindMS: 8}

// NightHour is what enters in one hour of the night.
type NightHour struct {
	Time     time.Time `json:"time"`
	Expected Litres    `json:"expected"`
	IfRain   Litres    `json:"if_rain"`
	Assumed  bool      `json:"assumed"` // the forecast does not say the rain of it
}

// Night is what enters an opening from one time to another.
type Night struct {
	Expected  Litres      `json:"expected"` // by the amounts forecast; assumed rain where there is none
	IfRain    Litres      `json:"if_rain"`  // should it rain at all
	ChancePct float64     `json:"chance_pct"`
	Unknown   int         `json:"unknown_hours"`
	Hours     []NightHour `json:"hours"`
	First     time.Time   `json:"first,omitzero"` // start of the first hour in which water is expected
}

// Night adds up what enters o from from to to. An hour that f does not reach, or whose
// rain it does not say, is assumed to rain: no forecast is no promise of a dry night.
//
// Expected takes the amount forecast as it stands. IfRain asks what a wet night brings:
// the amount divided by its chance, and not less than the assumed rain wherever the
// chance is not zero. Both are figures to rank by, not a prediction of a bucket.
func (o Opening) Night(f Forecast, from, to time.Time, a Assumed) Night {
	var n Night
	for at := from.UTC().Truncate(time.Hour); at.Before(to); at = at.Add(time.Hour) {
		share := (span{from, to}).overlap(at, at.Add(time.Hour)).Hours()
		h, _ := f.At(at)
		hour := o.hour(h, share, a)
		hour.Time = at
		n.Hours = append(n.Hours, hour)
		n.Expected, n.IfRain = n.Expected.Plus(hour.Expected), n.IfRain.Plus(hour.IfRain)
		if hour.Assumed {
			n.Unknown++
		}
		n.ChancePct = math.Max(n.ChancePct, h.ChancePct.Or(chanceUnsaid(hour.Assumed)))
		if n.First.IsZero() && hour.Expected.Total() > 0 {
			n.First = at
		}
	}
	return n
}

// chanceUnsaid is the chance of an hour for which none is given: certain where the rain
// is assumed, and what the amount says where there is one.
func chanceUnsaid(assumed bool) float64 {
	if assumed {
		return 100
	}
	return 0
}

func (o Opening) hour(h Hour, share float64, a Assumed) NightHour {
	wind, wet := a.WindMS, a.RainMMH
	from := o.FacingDeg
	if h.WindMS.Known {
		wind, from = h.WindMS.V, h.WindFromDeg.Or(o.FacingDeg)
	}
	if !h.RainMM.Known {
		chance := h.ChancePct.Or(100)
		night := NightHour{Assumed: true}
		if chance > 0 {
			night.IfRain = o.Enters(wet, wind, from, share)
			night.Expected = night.IfRain.times(chance / 100)
		}
		return night
	}
	rain := h.RainMM.V
	night := NightHour{Expected: o.Enters(rain, wind, from, share)}
	chance := h.ChancePct.Or(100)
	switch {
	case chance <= 0 || rain == 0 && !h.ChancePct.Known:
		wet = rain
	default:
		wet = math.Max(wet, rain*100/math.Max(chance, 1))
	}
	night.IfRain = o.Enters(wet, wind, from, share)
	return night
}

func (l Litres) times(x float64) Litres { return Litres{l.Direct * x, l.Runoff * x, l.Driven * x} }

// Catchment is one plane on the water's way down: its plan area, the share of the water
// on it that an opening takes, and the plane below by its place in the list, −1 where
// the water leaves the roof.
type Catchment struct {
	AreaM2 float64
	Takes  float64 // 0 to 1
	Below  int
}

// Cascade leads rainMM of rain down the planes and tells how many litres enter each and
// how many leave the roof; together they are the rain on all of it. A share outside 0 to
// 1, a plane that is not there, or water that runs in a ring is refused.
func Cascade(planes []Catchment, rainMM float64) (enters []float64, leaves float64, err error) {
	above := make([]int, len(planes)) // how many planes still drain onto this one
	for n, p := range planes {
		where := fmt.Sprintf("plane %d of the way down", n+1)
		if !(p.Takes >= 0 && p.Takes <= 1) || !(p.AreaM2 >= 0) {
			return nil, 0, refuse(CodeOutOfRange, where, fmt.Sprintf("takes %g of %g m²", p.Takes, p.AreaM2), "a share of 0 to 1 of an area")
		}
		if p.Below < -1 || p.Below >= len(planes) {
			return nil, 0, refuse(CodeUnknown, where, fmt.Sprint(p.Below), "a plane of the list, or -1")
		}
		if p.Below >= 0 {
			above[p.Below]++
		}
	}
	enters = make([]float64, len(planes))
	onto := make([]float64, len(planes))
	var ready []int
	for n := range planes {
		if above[n] == 0 {
			ready = append(ready, n)
		}
	}
	done := 0
	for ; done < len(ready); done++ {
		n := ready[done]
		p := planes[n]
		water := onto[n] + p.AreaM2*rainMM
		enters[n] = water * p.Takes
		if p.Below < 0 {
			leaves += water - enters[n]
			continue
		}
		onto[p.Below] += water - enters[n]
		if above[p.Below]--; above[p.Below] == 0 {
			ready = append(ready, p.Below)
		}
	}
	if done < len(planes) {
		return nil, 0, refuse(CodeOutOfRange, "the way down", "water that runs in a ring", "planes that drain downwards")
	}
	return enters, leaves, nil
}

// SunDays is how long an underlayment has lain in the sun, in days with their fraction.
// The limit is its maker's, often 30 to 180 days.
func SunDays(laid, now time.Time) float64 {
	return math.Max(0, now.Sub(laid).Hours()/24)
}
