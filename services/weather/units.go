package weather

import (
	"strings"
)

// measure is how a declared unit becomes ours: times scale, then plus shift.
type measure struct{ scale, shift float64 }

func (m measure) of(v float64) float64 { return v*m.scale + m.shift }

// units gives, for each unit of ours, the units that stand for it: codes of the WMO
// register as the weather service writes them, the unified code to which it means to
// change (Cel, [degF], [mi_i]/h), and the words of text fields and of column names.
var units = map[string]map[string]measure{
	"mm":  {"mm": {1, 0}, "m": {1000, 0}, "cm": {10, 0}, "in": {MMPerInch, 0}, "[in_i]": {MMPerInch, 0}},
	"m/s": {"m_s-1": {1, 0}, "km_h-1": {1 / 3.6, 0}, "kt": {1852.0 / 3600, 0}, "[kn_i]": {1852.0 / 3600, 0}, "mph": {MSPerMPH, 0}, "[mi_i]/h": {MSPerMPH, 0}, "km/h": {1 / 3.6, 0}, "m/s": {1, 0}, "ms": {1, 0}, "kmh": {1 / 3.6, 0}},
	"°C":  {"degC": {1, 0}, "Cel": {1, 0}, "C": {1, 0}, "c": {1, 0}, "degF": {5.0 / 9, -160.0 / 9}, "[degF]": {5.0 / 9, -160.0 / 9}, "F": {5.0 / 9, -160.0 / 9}, "f": {5.0 / 9, -160.0 / 9}, "K": {1, -273.15}},
	"%":   {"percent": {1, 0}, "%": {1, 0}, "pct": {1, 0}},
	"Pa":  {"Pa": {1, 0}, "hPa": {100, 0}},
	"°":   {"degree_(angle)": {1, 0}, "deg": {1, 0}},
}

// unitOf finds how the declared unit becomes l's. A percentage without a unit is a
// percentage: the service declares none for the chance of thunder.
func unitOf(l layer, declared string) (measure, bool) {
	if declared == "" && l.unit == "%" {
		return measure{1, 0}, true
	}
	for _, register := range []string{"wmoUnit:", "unit:", "wmo:", "uc:", "nwsUnit:"} {
		if rest, ok := strings.CutPrefix(declared, register); ok {
			declared = rest
			break
		}
	}
	m, ok := units[l.unit][declared]
	return m, ok
}

// compass gives the degrees of the sixteen points.
var compass = map[string]float64{
	"N": 0, "NNE": 22.5, "NE": 45, "ENE": 67.5, "E": 90, "ESE": 112.5, "SE": 135, "SSE": 157.5,
	"S": 180, "SSW": 202.5, "SW": 225, "WSW": 247.5, "W": 270, "WNW": 292.5, "NW": 315, "NNW": 337.5,
}
