package weather

import "math"

// magnus are the constants of the Magnus formula e = 6.112 · exp(b·t / (c + t)) in hPa.
type magnus struct{ b, cC float64 }

var (
	overWater = magnus{17.62, 243.12}
	overIce   = magnus{22.46, 272.62}
)

func (m magnus) pressureHPa(tempC float64) float64 {
	return 6.112 * math.Exp(m.b*tempC/(m.cC+tempC))
}

func (m magnus) tempC(pressureHPa float64) float64 {
	x := math.Log(pressureHPa / 6.112)
	return m.cC * x / (m.b - x)
}

// SaturationHPa is the saturation vapour pressure over water: Magnus formula, WMO No. 8
// (CIMO guide) annex 4.B, −45 to 60 °C; within 0.4 % of the ASHRAE table to 50 °C.
func SaturationHPa(tempC float64) float64 { return overWater.pressureHPa(tempC) }

// IceSaturationHPa is the same over ice, −65 to 0.01 °C.
func IceSaturationHPa(tempC float64) float64 { return overIce.pressureHPa(tempC) }

// DewPointC is the temperature at which air of tempC and rhPct (over 0 to 100) begins to
// wet a surface, over water even below freezing: the Magnus formula turned round.
func DewPointC(tempC, rhPct float64) float64 {
	return overWater.tempC(rhPct / 100 * SaturationHPa(tempC))
}

// FrostPointC is the temperature at which the same air begins to frost a surface; it is
// above the dew point below freezing.
func FrostPointC(dewC float64) float64 { return overIce.tempC(SaturationHPa(dewC)) }

// RelativeHumidityPct is the humidity of air of tempC whose dew point is dewC.
func RelativeHumidityPct(tempC, dewC float64) float64 {
	return 100 * SaturationHPa(dewC) / SaturationHPa(tempC)
}

// WetBulbDewPointC is the dew point from a ventilated wet and dry bulb at sea level
// pressure: e = e_s(t_w) − A·p·(t − t_w) with A = 6.53e-4·(1 + 9.44e-4·t_w) per °C, WMO No. 8 annex
// 4.B, p = 1013.25 hPa. NaN where the two readings cannot be of the same air.
func WetBulbDewPointC(dryC, wetC float64) float64 {
	const seaLevelHPa = 1013.25
	e := SaturationHPa(wetC) - 6.53e-4*(1+9.44e-4*wetC)*seaLevelHPa*(dryC-wetC)
	if e <= 0 || wetC > dryC {
		return math.NaN()
	}
	return overWater.tempC(e)
}

// CoatingMarginC is how far above the dew point a surface must be before anything is
// stuck or painted on it: 3 °C, ISO 8502-4 practice (charts in °F print 5 °F).
const CoatingMarginC = 3.0

// ClearSkyDropC is how far bare metal under a clear sky falls below the air at night.
// Common practice, a round figure; it has no published source here.
const ClearSkyDropC = 5.0

// MetalNightC is the temperature to expect of bare metal at night in air of tempC under a sky
// covered skyPct: the air's, less ClearSkyDropC times the part that is clear.
func MetalNightC(tempC, skyPct float64) float64 {
	return tempC - ClearSkyDropC*(1-skyPct/100)
}

// HeatIndexF is the apparent temperature in °F: the regression of Rothfusz with the
// adjustments of the US Weather Prediction Center's heat index page, and Steadman's
// simple form where that gives less than 80 °F. Within a degree of the printed table,
// which is for shade and light wind: full sun adds up to 15 °F.
func HeatIndexF(tempF, rhPct float64) float64 {
	T, R := tempF, rhPct
	if simple := 0.5 * (T + 61 + (T-68)*1.2 + R*0.094); (simple+T)/2 < 80 {
		return (simple + T) / 2
	}
	hi := -42.379 + 2.04901523*T + 10.14333127*R - 0.22475541*T*R - 6.83783e-3*T*T -
		5.481717e-2*R*R + 1.22874e-3*T*T*R + 8.5282e-4*T*R*R - 1.99e-6*T*T*R*R
	switch {
	case R < 13 && T >= 80 && T <= 112:
		hi -= (13 - R) / 4 * math.Sqrt((17-math.Abs(T-95))/17)
	case R > 85 && T >= 80 && T <= 87:
		hi += (R - 85) / 10 * (87 - T) / 5
	}
	return hi
}
