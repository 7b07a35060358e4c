package weather

import (
	"fmt"
	"math"
	"time"
)

// Zenith angles of the Sun's centre in degrees, as almanacs define the events.
const (
	// zenithRise is 90° 50′: 34′ of refraction and 16′ of the Sun's half width.
	zenithRise = 90 + 50.0/60
	// zenithCivil is where civil twilight ends.
	zenithCivil = 96.0
)

// Never says why an event of the Sun does not happen on a day.
type Never string

// What the Sun does instead of crossing.
const (
	StaysAbove Never = "stays above" // polar day, or for dusk a night that never gets dark
	StaysBelow Never = "stays below" // polar night
)

// Crossing is the moment at which the Sun passes a height. Where it does not pass it,
// At is zero and Never says on which side it stays.
type Crossing struct {
	At    time.Time
	Never Never
}

// Daylight is the Sun's day at a place, in the place's own zone. A crossing belongs to
// the day whose noon it lies nearest, so Sunset always follows Sunrise; far north in
// summer it may fall after midnight, and At then shows the next date.
type Daylight struct {
	CivilDawn, Sunrise Crossing
	Noon               time.Time // the Sun's highest point
	Sunset, CivilDusk  Crossing
}

// Sun gives the Sun's times at latDeg north and lonDeg east on the calendar day that
// day shows in its own location; the hour of day does not matter. Times are in that
// location, to be rounded by whoever prints them.
//
// The Sun's place is Meeus, Astronomical Algorithms (2nd ed.), chapter 25 low accuracy
// with sidereal time of chapter 12, the formulas of NOAA's solar calculation sheets.
// Sunrise and sunset are for a flat horizon at sea level, zenith 90°50′; civil dawn and
// dusk zenith 96°. It agrees with the almanac within seconds below 65° of latitude; near
// the polar circles a day on which the Sun only grazes the horizon may differ by minutes.
// The years 1900 to 2100 are held; others are refused, as is a place off the globe and
// a day that the zone left out.
func Sun(latDeg, lonDeg float64, day time.Time) (Daylight, error) {
	switch {
	case !(latDeg >= -90 && latDeg <= 90):
		return Daylight{}, refuse(CodeOutOfRange, "lat", fmt.Sprint(latDeg), "degrees north, -90 to 90")
	case !(lonDeg >= -180 && lonDeg <= 180):
		return Daylight{}, refuse(CodeOutOfRange, "lon", fmt.Sprint(lonDeg), "degrees east, -180 to 180")
	case day.Year() < 1900 || day.Year() > 2100:
		return Daylight{}, refuse(CodeOutOfRange, "date", day.Format(time.DateOnly), "a day of 1900 to 2100")
	}
	y, m, d := day.Date()
	clockNoon := time.Date(y, m, d, 12, 0, 0, 0, day.Location())
	if clockNoon.Day() != d {
		return Daylight{}, refuse(CodeOutOfRange, "date", day.Format(time.DateOnly), "a day that the zone has")
	}
	// Starting from the clock's noon of the *local* date is what keeps western places
	// from being given the sunset of the evening before.
	noon := transit(lonDeg, julian(clockNoon))
	s := daySky{latDeg: latDeg, lonDeg: lonDeg, noon: noon, zone: day.Location()}
	return Daylight{
		CivilDawn: s.crossing(zenithCivil, -1), Sunrise: s.crossing(zenithRise, -1),
		Noon:   fromJulian(noon).In(day.Location()),
		Sunset: s.crossing(zenithRise, 1), CivilDusk: s.crossing(zenithCivil, 1),
	}, nil
}

// daySky is the sky over a place around one noon.
type daySky struct {
	latDeg, lonDeg, noon float64
	zone                 *time.Location
}

// crossing looks half a day before (-1) or after (+1) noon for the moment at which the
// Sun stands zenithDeg from the zenith. Halving the span, and not iterating on the hour
// angle, cannot fail to converge where the Sun only grazes the horizon.
func (s daySky) crossing(zenithDeg, side float64) Crossing {
	height := 90 - zenithDeg
	midnight := transit(s.lonDeg+180, s.noon+side*0.5)
	if s.heightDeg(s.noon) < height {
		return Crossing{Never: StaysBelow}
	}
	if s.heightDeg(midnight) > height {
		return Crossing{Never: StaysAbove}
	}
	up, down := s.noon, midnight
	const steps = 34 // half a day down to 5 microseconds
	for range steps {
		mid := (up + down) / 2
		if s.heightDeg(mid) > height {
			up = mid
		} else {
			down = mid
		}
	}
	return Crossing{At: fromJulian((up + down) / 2).In(s.zone)}
}

// heightDeg is the Sun's true height above the horizon at a Julian day, no refraction.
func (s daySky) heightDeg(jd float64) float64 {
	decl, hour := sunPlace(jd, s.lonDeg)
	lat := radians(s.latDeg)
	return degrees(math.Asin(math.Sin(lat)*math.Sin(decl) + math.Cos(lat)*math.Cos(decl)*math.Cos(hour)))
}

// transit is the Julian day, nearest to near, at which the Sun crosses the meridian of
// lonDeg east.
func transit(lonDeg, near float64) float64 {
	jd := near
	for range 4 {
		_, hour := sunPlace(jd, lonDeg)
		jd -= hour / (2 * math.Pi)
	}
	return jd
}

// sunPlace is the Sun's apparent declination and its local hour angle, west positive
// and within half a turn, in radians. In Meeus' letters: L0 mean longitude, M mean
// anomaly, C equation of the centre, Ω the Moon's node, ε obliquity.
func sunPlace(jd, lonDeg float64) (declination, hourAngle float64) {
	// The difference between dynamical and universal time (about 70 s) moves the Sun by
	// 3″, a fifth of a second of time, and is left out.
	T := (jd - 2451545.0) / 36525
	L0 := 280.46646 + T*(36000.76983+T*0.0003032)
	M := radians(357.52911 + T*(35999.05029-T*0.0001537))
	C := math.Sin(M)*(1.914602-T*(0.004817+T*0.000014)) +
		math.Sin(2*M)*(0.019993-T*0.000101) + math.Sin(3*M)*0.000289
	node := radians(125.04 - 1934.136*T)
	nutation := -0.00478 * math.Sin(node)
	lambda := radians(L0 + C - 0.00569 + nutation)
	eps := radians(23 + (26+(21.448-T*(46.8150+T*(0.00059-T*0.001813)))/60)/60 + 0.00256*math.Cos(node))
	declination = math.Asin(math.Sin(eps) * math.Sin(lambda))
	ascension := math.Atan2(math.Cos(eps)*math.Sin(lambda), math.Cos(lambda))
	sidereal := 280.46061837 + 360.98564736629*(jd-2451545.0) + T*T*(0.000387933-T/38710000) +
		nutation*math.Cos(eps)
	return declination, math.Remainder(radians(math.Mod(sidereal+lonDeg, 360))-ascension, 2*math.Pi)
}

const unixEpochJD = 2440587.5

func julian(t time.Time) float64 { return unixEpochJD + float64(t.Unix())/86400 }

func fromJulian(jd float64) time.Time {
	seconds := (jd - unixEpochJD) * 86400
	whole := math.Floor(seconds)
	return time.Unix(int64(whole), int64((seconds-whole)*1e9))
}

func radians(deg float64) float64 { return deg * math.Pi / 180 }
func degrees(rad float64) float64 { return rad * 180 / math.Pi }
