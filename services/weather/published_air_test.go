package weather_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"bydark/services/weather"
)

// airRows are the Sun's times and the moisture of air.
var airRows = map[string]verdict{
	"atl09_": check(sunEvent), "atl07_": check(sunEvent), "golden_usno": check(sunEvent), "golden_spa": check(sunEvent), "spa_": check(sunEvent),
	"bluffton_": check(sunEvent), "defiance_": check(sunEvent), "polar_": check(polar),
	"almanac_rise": check(func(t *testing.T, r row) any {
		ours := sunEvent(t, r).(time.Time)
		twin := almanacRise(r.in(t, "lat"), r.in(t, "lon"), 176, r.in(t, "utc_offset_h"))
		if minutes := float64(ours.Hour()*60+ours.Minute()) + float64(ours.Second())/60; math.Abs(minutes-twin*60) > 2 {
			t.Errorf("the almanac's own algorithm gives %.2f h, we %s", twin, ours)
		}
		return ours
	}),
	// The mean anomaly in the algorithm with which almanac_rise checks ours.
	"almanac_M": check(func(t *testing.T, r row) any { return almanacAnomaly(r.in(t, "t")) }),

	"ashrae_es": check(func(t *testing.T, r row) any { return weather.SaturationHPa(r.in(t, "T_C")) }),
	// Bolton's constants of 1980; ours must lie within the 0.4 % that its comment promises.
	"bolton_es": check(func(t *testing.T, r row) any {
		tC := r.in(t, "T_C")
		v := 6.112 * math.Exp(17.67*tC/(243.5+tC))
		if ours := weather.SaturationHPa(tC); math.Abs(ours/v-1) > 0.004 {
			t.Errorf("ours is %v", ours)
		}
		return v
	}),
	"rh_from_td_F": check(func(t *testing.T, r row) any {
		return weather.RelativeHumidityPct(fahrenheit(r.in(t, "T_F")), fahrenheit(r.in(t, "Td_F")))
	}),
	"td_":           check(func(t *testing.T, r row) any { return weather.DewPointC(r.in(t, "T_C"), r.in(t, "RH_pct")) }),
	"chart_":        check(dewF),
	"wetbulb_21_17": check(func(t *testing.T, r row) any { return weather.WetBulbDewPointC(r.in(t, "T_C"), r.in(t, "Tw_C")) }),
	"ashrae_ex1":    check(func(t *testing.T, r row) any { return weather.WetBulbDewPointC(r.in(t, "T_C"), r.in(t, "Tw_C")) }),
	"margin_F":      check(func(*testing.T, row) any { return atLeast(weather.CoatingMarginC * 9 / 5) }),
	"margin_case":   check(func(t *testing.T, r row) any { return dewF(t, r).(float64) + r.figure(t, "margin_F") }),
}

func sunEvent(t *testing.T, r row) any {
	zone := time.FixedZone("", int(r.in(t, "utc_offset_h")*3600))
	day, err := time.ParseInLocation(time.DateOnly, r.text(t, "date"), zone)
	if err != nil {
		t.Fatal(err)
	}
	d, err := weather.Sun(r.in(t, "lat"), r.in(t, "lon"), day)
	if err != nil {
		t.Fatal(err)
	}
	switch r.text(t, "event") + " " + r.text(t, "zenith_deg") {
	case "set 90.8333":
		return d.Sunset.At
	case "rise 90.8333":
		return d.Sunrise.At
	case "set 96":
		return d.CivilDusk.At
	case "rise 96":
		return d.CivilDawn.At
	}
	t.Fatalf("%s: no such event", r.name)
	return nil
}

func polar(t *testing.T, r row) any {
	day, err := time.Parse(time.DateOnly, r.text(t, "date"))
	if err != nil {
		t.Fatal(err)
	}
	d, err := weather.Sun(r.in(t, "lat"), r.in(t, "lon"), day)
	if err != nil {
		t.Fatal(err)
	}
	switch {
	case d.Sunrise.Never == weather.StaysBelow && d.Sunset.Never == weather.StaysBelow:
		return "no sunrise"
	case d.Sunset.Never == weather.StaysAbove && d.Sunrise.Never == weather.StaysAbove:
		return "no sunset"
	}
	return fmt.Sprintf("%+v", d)
}

func almanacAnomaly(t float64) float64 { return 0.9856*t - 3.289 }

// almanacRise is sunrise in hours of local time by the Almanac for Computers (US Naval
// Observatory, 1990), an algorithm of its own: on a day of the year at zenith 90°50′.
func almanacRise(lat, lon float64, dayOfYear int, offsetH float64) float64 {
	const rad = math.Pi / 180
	mod := func(v, m float64) float64 { return math.Mod(math.Mod(v, m)+m, m) }
	t := float64(dayOfYear) + (6-lon/15)/24
	m := almanacAnomaly(t)
	l := mod(m+1.916*math.Sin(m*rad)+0.020*math.Sin(2*m*rad)+282.634, 360)
	ra := mod(math.Atan(0.91764*math.Tan(l*rad))/rad, 360)
	ra = (ra + math.Floor(l/90)*90 - math.Floor(ra/90)*90) / 15
	sin := 0.39782 * math.Sin(l*rad)
	cos := (math.Cos(90.8333*rad) - sin*math.Sin(lat*rad)) / (math.Cos(math.Asin(sin)) * math.Cos(lat*rad))
	h := (360 - math.Acos(cos)/rad) / 15
	return mod(h+ra-0.06571*t-6.622-lon/15+offsetH, 24)
}

func dewF(t *testing.T, r row) any {
	return celsiusF(weather.DewPointC(fahrenheit(r.in(t, "T_F")), r.in(t, "RH_pct")))
}
