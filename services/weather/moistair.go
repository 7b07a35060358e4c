package weather

import "math"

// The psychrometrics here are those of the ASHRAE Handbook, Fundamentals 2017, chapter 1,
// of moist air as a perfect gas: within a percent up to saturation at 50 °C. Pressures in
// pascals, humidity ratios in kilograms of water a kilogram of dry air.

// waterToAir is the ratio of the molecular masses of water and dry air.
const waterToAir = 0.621945

// kelvin is 0 °C.
const kelvin = 273.15

// SaturationPa is the saturation vapour pressure over water, and over ice below the
// triple point of 0.01 °C: Hyland and Wexler, equations 5 and 6, −100 to 200 °C. The Magnus
// formula of SaturationHPa lies within 0.5 % of it where weather is.
func SaturationPa(tempC float64) float64 {
	t := tempC + kelvin
	if tempC <= 0.01 {
		return math.Exp(-5.6745359e3/t + 6.3925247 - 9.677843e-3*t + 6.2215701e-7*t*t + 2.0747825e-9*t*t*t -
			9.484024e-13*t*t*t*t + 4.1635019*math.Log(t))
	}
	return math.Exp(-5.8002206e3/t + 1.3914993 - 4.8640239e-2*t + 4.1764768e-5*t*t - 1.4452093e-8*t*t*t + 6.5459673*math.Log(t))
}

// StandardPressurePa is the air pressure of the standard atmosphere at an altitude, −5,000
// to 11,000 m: equation 3.
func StandardPressurePa(altitudeM float64) float64 {
	return 101325 * math.Pow(1-2.25577e-5*altitudeM, 5.2559)
}

// StandardTempC is the temperature of the standard atmosphere at an altitude: equation 4.
func StandardTempC(altitudeM float64) float64 { return 15 - 0.0065*altitudeM }

// HumidityRatio is the water in air whose vapour has a pressure: equation 20.
func HumidityRatio(vapourPa, pressurePa float64) float64 {
	return waterToAir * vapourPa / (pressurePa - vapourPa)
}

// VapourPa is the vapour pressure that goes with a humidity ratio: equation 20 turned round.
func VapourPa(ratio, pressurePa float64) float64 {
	return pressurePa * ratio / (waterToAir + ratio)
}

// HumidityRatioWetBulb is the humidity ratio from a ventilated dry and wet bulb: equation
// 33, and 35 where the wet bulb is iced. Not below zero; the readings are taken as they come.
func HumidityRatioWetBulb(dryC, wetC, pressurePa float64) float64 {
	saturated := HumidityRatio(SaturationPa(wetC), pressurePa)
	if wetC >= 0 {
		return math.Max(0, ((2501-2.326*wetC)*saturated-1.006*(dryC-wetC))/(2501+1.86*dryC-4.186*wetC))
	}
	return math.Max(0, ((2830-0.24*wetC)*saturated-1.006*(dryC-wetC))/(2830+1.86*dryC-2.1*wetC))
}

// SpecificHumidity is the water in a kilogram of moist air: equation 9b.
func SpecificHumidity(ratio float64) float64 { return ratio / (1 + ratio) }

// EnthalpyJ is the enthalpy of moist air in joules a kilogram of dry air, zero for dry air
// at 0 °C: equation 30.
func EnthalpyJ(tempC, ratio float64) float64 {
	return 1000 * (1.006*tempC + ratio*(2501+1.86*tempC))
}

// AirVolumeM3 is the volume of moist air that holds a kilogram of dry air: equation 26.
func AirVolumeM3(tempC, ratio, pressurePa float64) float64 {
	return 287.042 * (tempC + kelvin) * (1 + 1.607858*ratio) / pressurePa
}

// AirDensityKGM3 is the density of moist air: equation 11.
func AirDensityKGM3(tempC, ratio, pressurePa float64) float64 {
	return (1 + ratio) / AirVolumeM3(tempC, ratio, pressurePa)
}
