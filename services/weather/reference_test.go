package weather_test

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"

	"bydark/services/weather"
)

// referenceFiles says which test reads each file of the reference tables: one that nobody reads
// does not pass.
var referenceFiles = map[string]string{
	"README.md": "", "LICENSES.md": "",
	"sun-usno-atlanta-2007.csv": "TestSunAtlanta", "sun-points.csv": "TestSunPoints", "psychro.csv": "TestMoistAirAgainstASHRAE",
	"tmy3-greensboro-nc.csv": "TestDewPointAgainstTypicalYear", "rain-dsm-raw.csv": "TestMeasuredHoursKeepTheirTotal",
	"rain-CF6ANC.txt": "TestMonthlyFormsKeepTheirTotals", "rain-CF6GRR.txt": "TestMonthlyFormsKeepTheirTotals", "rain-CF6SEA.txt": "TestMonthlyFormsKeepTheirTotals",
}

func TestEveryReferenceFileIsRead(t *testing.T) {
	files, err := os.ReadDir("../../testdata/reference")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if _, ok := referenceFiles[f.Name()]; !ok {
			t.Errorf("no test reads %s", f.Name())
		}
	}
	if len(files) != len(referenceFiles) {
		t.Errorf("%d files, %d named", len(files), len(referenceFiles))
	}
}

const (
	metresPerFoot, paPerPSI         = 0.3048, 6894.757293168
	jPerBtuLb, m3KGPerFt3Lb         = 2326.0, 0.0624279606
	kgM3PerLbFt3, dryAirBtuLbAt32F  = 16.01846337, 0.240 * 32 // enthalpy in Btu/lb begins at 0 °F
	ashraeSource                    = "ASHRAE Fundamentals 2017 chapter 1, by the psychrolib tests"
	triplePointC, rankineAbsoluteF0 = 0.01, 459.67
)

// moistAir reckons each quantity of the table, in SI: temperatures in °C, pressures in Pa.
var moistAir = map[string]func(a []float64) float64{
	"SatVapPres":              func(a []float64) float64 { return weather.SaturationPa(a[0]) },
	"SatHumRatio":             func(a []float64) float64 { return saturatedRatio(a[0], a[1]) },
	"SatAirEnthalpy":          func(a []float64) float64 { return weather.EnthalpyJ(a[0], saturatedRatio(a[0], a[1])) },
	"HumRatioFromTWetBulb":    func(a []float64) float64 { return weather.HumidityRatioWetBulb(a[0], a[1], a[2]) },
	"SpecificHumFromHumRatio": func(a []float64) float64 { return weather.SpecificHumidity(a[0]) },
	"HumRatioFromSpecificHum": func(a []float64) float64 { return solve(0, 0.5, a[0], weather.SpecificHumidity) },
	"DryAirVolume":            func(a []float64) float64 { return weather.AirVolumeM3(a[0], 0, a[1]) },
	"DryAirDensity":           func(a []float64) float64 { return weather.AirDensityKGM3(a[0], 0, a[1]) },
	"MoistAirVolume":          func(a []float64) float64 { return weather.AirVolumeM3(a[0], a[1], a[2]) },
	"MoistAirDensity":         func(a []float64) float64 { return weather.AirDensityKGM3(a[0], a[1], a[2]) },
	"StandardAtmPressure":     func(a []float64) float64 { return weather.StandardPressurePa(a[0]) },
	"StandardAtmTemperature":  func(a []float64) float64 { return weather.StandardTempC(a[0]) },
	"VapPresFromRelHum":       func(a []float64) float64 { return a[1] * weather.SaturationPa(a[0]) },
	"TDryBulbFromEnthalpyAndHumRatio": func(a []float64) float64 {
		return solve(-50, 100, a[0], func(tempC float64) float64 { return weather.EnthalpyJ(tempC, a[1]) })
	},
	"TDryBulbFromMoistAirVolumeAndHumRatio": func(a []float64) float64 {
		return solve(-50, 100, a[0], func(tempC float64) float64 { return weather.AirVolumeM3(tempC, a[1], a[2]) })
	},
	"CalcPsychrometricsFromTWetBulb.HumRatio": func(a []float64) float64 { return weather.HumidityRatioWetBulb(a[0], a[1], a[2]) },
	"CalcPsychrometricsFromTWetBulb.RelHum": func(a []float64) float64 {
		return weather.VapourPa(weather.HumidityRatioWetBulb(a[0], a[1], a[2]), a[2]) / weather.SaturationPa(a[0])
	},
	// Degrees from absolute zero, as a document in kelvin gives them.
	"TKelvinFromTCelsius": func(a []float64) float64 { return a[0] - absoluteZeroC() },
}

func saturatedRatio(tempC, pressurePa float64) float64 {
	return weather.HumidityRatio(weather.SaturationPa(tempC), pressurePa)
}

// absoluteZeroC is what 0 K is by our reader's units: 100 K less a hundred degrees.
func absoluteZeroC() float64 {
	f, err := weather.Read([]byte(`{"properties":{"validTimes":"x","temperature":{"uom":"wmoUnit:K","values":[{"validTime":"2026-07-01T00:00:00Z/PT1H","value":200}]}}}`))
	if err != nil {
		return math.NaN()
	}
	return f.Hours[0].TempC.V - 200
}

// solve finds where a growing function has a value, by halving.
func solve(low, high, want float64, of func(float64) float64) float64 {
	for range 100 {
		if mid := (low + high) / 2; of(mid) < want {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// inSI turns a row's arguments into SI, and how its expected value comes back from it.
func inSI(quantity string, a []float64) (si []float64, back func(float64) float64) {
	same := func(v float64) float64 { return v }
	si = append([]float64{}, a...)
	pressure := func(n int) { si[n] = a[n] * paPerPSI }
	switch quantity {
	case "SatVapPres":
		si[0], back = fahrenheit(a[0]), func(v float64) float64 { return v / paPerPSI }
	case "SatHumRatio":
		si[0], back = fahrenheit(a[0]), same
		pressure(1)
	case "SatAirEnthalpy":
		si[0], back = fahrenheit(a[0]), func(v float64) float64 { return v/jPerBtuLb + dryAirBtuLbAt32F }
		pressure(1)
	case "HumRatioFromTWetBulb":
		si[0], si[1], back = fahrenheit(a[0]), fahrenheit(a[1]), same
		pressure(2)
	case "DryAirVolume", "MoistAirVolume":
		si[0], back = fahrenheit(a[0]), func(v float64) float64 { return v / m3KGPerFt3Lb }
		pressure(len(a) - 1)
	case "DryAirDensity", "MoistAirDensity":
		si[0], back = fahrenheit(a[0]), func(v float64) float64 { return v / kgM3PerLbFt3 }
		pressure(len(a) - 1)
	case "StandardAtmPressure":
		si[0], back = a[0]*metresPerFoot, func(v float64) float64 { return v / paPerPSI }
	case "StandardAtmTemperature":
		si[0], back = a[0]*metresPerFoot, celsiusF
	case "TDryBulbFromMoistAirVolumeAndHumRatio":
		si[0], back = a[0]*m3KGPerFt3Lb, celsiusF
		pressure(2)
	case "TRankineFromTFahrenheit":
		si[0], back = fahrenheit(a[0]), func(v float64) float64 { return v * 9 / 5 }
	default:
		back = same
	}
	return si, back
}

// Every row of the table of moist air, within the source's own tolerance.
func TestMoistAirAgainstASHRAE(t *testing.T) {
	rows := reference(t, "psychro.csv")
	for _, r := range rows {
		name := r["units"] + " " + r["quantity"] + " " + r["arguments_in_order"]
		var a []float64
		for field := range strings.SplitSeq(r["arguments_in_order"], ";") {
			a = append(a, number(t, field))
		}
		back := func(v float64) float64 { return v }
		if r["units"] == "IP" {
			a, back = inSI(r["quantity"], a)
		}
		of, ok := moistAir[strings.Replace(r["quantity"], "TRankineFromTFahrenheit", "TKelvinFromTCelsius", 1)]
		if !ok {
			t.Errorf("%s: nothing of ours reckons it", name)
			continue
		}
		got, want, tolerance := back(of(a)), number(t, r["expected"]), number(t, r["tolerance"])
		if r["tolerance_kind"] == "rel" {
			// The handbook's equations in IP have constants of their own, rounded by themselves.
			if r["units"] == "IP" {
				tolerance += 1e-4
			}
			tolerance *= math.Abs(want)
		}
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s: %g, want %g within %g (%s)", name, got, want, tolerance, ashraeSource)
		}
	}
	t.Logf("%d rows", len(rows))
}

// The Magnus formula lies within half a percent of Hyland and Wexler's where weather is.
func TestMagnusAgainstHylandWexler(t *testing.T) {
	for tempC := -45.0; tempC <= 60; tempC += 0.25 {
		magnus := weather.SaturationHPa(tempC)
		if tempC < triplePointC {
			magnus = weather.IceSaturationHPa(tempC)
		}
		if full := weather.SaturationPa(tempC) / 100; math.Abs(magnus/full-1) > 0.005 {
			t.Errorf("%g °C: Magnus %g hPa, Hyland and Wexler %g", tempC, magnus, full)
		}
	}
}

// Lines of a form: the month's rain, its strongest and its peak wind, and a day's rain (2), strongest
// wind and its direction (4, 5) and peak wind (6).
var (
	monthLine = regexp.MustCompile(`^SM .* (\d+\.\d+) +\S+ +\d+\.\d+ `)
	windLine  = regexp.MustCompile(`---->[ #]+(\d+) +\d+[ #]+(\d+) +\d+`)
)

var dayLine = regexp.MustCompile(`^ ?\d+ +(\S+ +){6}(\d+\.\d+|T|M) +\S+ +\S+ +(\S+) +(\S+) +(\S+) .* (\S+) +(\S+)$`)

// The weather service's monthly forms: each day's rain and winds go through our CSV as an interval
// of a day and come out with the form's own total, strongest wind and its direction.
func TestMonthlyFormsKeepTheirTotals(t *testing.T) {
	days := 0
	for _, name := range []string{"rain-CF6ANC.txt", "rain-CF6GRR.txt", "rain-CF6SEA.txt"} {
		text, err := os.ReadFile("../../testdata/reference/" + name)
		if err != nil {
			t.Fatal(err)
		}
		var doc strings.Builder
		doc.WriteString("# issued: 2020-01-01T00:00:00Z\ntime,rain_in,wind_mph,gust_mph,wind_from_deg\n")
		total, strongest, peak := math.NaN(), math.NaN(), math.NaN()
		month := 0
		for line := range strings.Lines(string(text)) {
			line = strings.TrimRight(line, " \r\n")
			switch {
			case monthLine.MatchString(line):
				total = number(t, monthLine.FindStringSubmatch(line)[1])
			case strings.Contains(line, "MISC"):
				m := windLine.FindStringSubmatch(line)
				strongest, peak = number(t, m[1]), number(t, m[2])
			}
			m := dayLine.FindStringSubmatch(line)
			if m == nil || m[2] == "M" {
				continue
			}
			month++
			rain := strings.Replace(m[2], "T", "0", 1)
			fmt.Fprintf(&doc, "2020-01-%02dT00:00:00Z/P1D,%s,%s,%s,%s\n", month, rain, m[4], m[6], m[5])
		}
		f := readForecast(t, doc.String())
		var sum, most, gust float64
		for _, h := range f.Hours {
			sum += h.RainMM.V / weather.MMPerInch
			most, gust = math.Max(most, h.WindMS.V/weather.MSPerMPH), math.Max(gust, h.GustMS.V/weather.MSPerMPH)
		}
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"rain", sum, total}, {"strongest wind", most, strongest}, {"peak wind", gust, peak}} {
			if !(math.Abs(c.got-c.want) < 1e-9) {
				t.Errorf("%s: %s %g, the form says %g", name, c.what, c.got, c.want)
			}
		}
		days += month
	}
	t.Logf("%d days", days)
	if days != 25+1+22 {
		t.Error("not every day of the forms was read")
	}
}
