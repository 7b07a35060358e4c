package weather

import (
	"encoding/json/v2"
	"fmt"
	"math"
	"time"
)

// Outline is where a document is for: rings of points, longitude before latitude, in degrees,
// as GeoJSON (RFC 7946) writes them; a point is a ring of one. Empty where the document does
// not say.
type Outline [][][2]float64

// nearEnoughKM is how far from a roof the place of a forecast may lie, some ten cells of the
// service's grid of 2.5 km, and alertMarginKM how far the outline of an alert, which is drawn
// round where a storm is thought to go: house defaults.
const (
	nearEnoughKM  = 25
	alertMarginKM = 10
)

// mostPoints bounds an outline: the service's have some dozens.
const mostPoints = 10_000

// outlineOf reads a GeoJSON geometry; nothing where there is none, or none that can be.
func outlineOf(geometry []byte) Outline {
	var g struct {
		Type        string `json:"type"`
		Coordinates any    `json:"coordinates"`
	}
	if len(geometry) == 0 || json.Unmarshal(geometry, &g) != nil {
		return nil
	}
	var o Outline
	points := 0
	// A ring is a list of lists of numbers, however deep it lies: the first of each polygon
	// is its outside.
	var walk func(v any) bool
	walk = func(v any) bool {
		list, ok := v.([]any)
		if !ok || len(list) == 0 {
			return false
		}
		if ring, ok := ringOf(list); ok {
			points += len(ring)
			o = append(o, ring)
			return points <= mostPoints
		}
		for _, part := range list {
			if !walk(part) {
				return false
			}
		}
		return true
	}
	switch g.Type {
	case "Point":
		g.Coordinates = []any{g.Coordinates}
	case "Polygon", "MultiPolygon":
	default:
		return nil
	}
	if !walk(g.Coordinates) || !o.possible() {
		return nil
	}
	return o
}

// ringOf reads a list of points; false for a list of anything else.
func ringOf(list []any) ([][2]float64, bool) {
	ring := make([][2]float64, 0, len(list))
	for _, v := range list {
		pair, ok := v.([]any)
		if !ok || len(pair) < 2 {
			return nil, false
		}
		lon, isLon := pair[0].(float64)
		lat, isLat := pair[1].(float64)
		if !isLon || !isLat {
			return nil, false
		}
		ring = append(ring, [2]float64{lon, lat})
	}
	return ring, true
}

// possible tells whether all points lie on the globe.
func (o Outline) possible() bool {
	for _, ring := range o {
		for _, p := range ring {
			if !(math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90) {
				return false
			}
		}
	}
	return true
}

// isCell tells whether an outline may be a cell of a forecast's grid: one wider than a degree
// stands for nothing, as in documents whose place was taken out.
func (o Outline) isCell() bool {
	for _, ring := range o {
		for _, p := range ring {
			if math.Abs(p[1]-ring[0][1]) > 1 || math.Abs(wrapped(p[0]-ring[0][0])) > 1 {
				return false
			}
		}
	}
	return true
}

// wrapped brings a difference of longitudes between -180 and 180 degrees.
func wrapped(deg float64) float64 { return math.Remainder(deg, 360) }

// DistanceKM is how far a place lies from an outline, in kilometres, zero within it. About the
// place the globe is laid flat, degrees of longitude shortened by the cosine of its latitude
// (mean radius of the earth 6371.0088 km, IUGG): to a hundredth where the outline is near, which
// is where it counts; far points are measured over the globe.
func (o Outline) DistanceKM(latDeg, lonDeg float64) float64 {
	least := math.Inf(1)
	for _, ring := range o {
		flat := make([][2]float64, len(ring))
		for i, p := range ring {
			flat[i] = [2]float64{wrapped(p[0]-lonDeg) * kmPerDegree * math.Cos(latDeg*math.Pi/180), (p[1] - latDeg) * kmPerDegree}
			least = math.Min(least, globeKM(latDeg, lonDeg, p[1], p[0]))
		}
		inside := false
		for i, a := range flat {
			b := flat[(i+1)%len(flat)]
			if (a[1] > 0) != (b[1] > 0) && 0 < a[0]+(b[0]-a[0])*-a[1]/(b[1]-a[1]) {
				inside = !inside
			}
			if d := toSegment(a, b); d < flatKM {
				least = math.Min(least, d)
			}
		}
		if inside {
			return 0
		}
	}
	return least
}

const (
	earthKM     = 6371.0088
	kmPerDegree = earthKM * math.Pi / 180
	// flatKM is how far the globe is taken as flat.
	flatKM = 200
)

// toSegment is how far the origin lies from the stretch between two points.
func toSegment(a, b [2]float64) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	along := 0.0
	if length := dx*dx + dy*dy; length > 0 {
		along = math.Max(0, math.Min(1, -(a[0]*dx+a[1]*dy)/length))
	}
	return math.Hypot(a[0]+along*dx, a[1]+along*dy)
}

// globeKM is the distance of two places over the globe, by the haversine formula,
// hav(d/r) = hav(φ₂−φ₁) + cos φ₁·cos φ₂·hav(λ₂−λ₁).
func globeKM(lat1, lon1, lat2, lon2 float64) float64 {
	const rad = math.Pi / 180
	hav := func(deg float64) float64 { s := math.Sin(deg * rad / 2); return s * s }
	h := hav(lat2-lat1) + math.Cos(lat1*rad)*math.Cos(lat2*rad)*hav(lon2-lon1)
	return 2 * earthKM * math.Asin(math.Sqrt(math.Min(1, h)))
}

// kmPerMile is that of the international mile.
const kmPerMile = 1.609344

// far says a distance as people do.
func far(km float64) string { return fmt.Sprintf("%.0f km (%.0f mi)", km, km/kmPerMile) }

// Near refuses a forecast for another place than a roof's: further than 25 km. A forecast
// that does not say where it is for is taken.
func (f Forecast) Near(latDeg, lonDeg float64) error {
	if len(f.Outline) == 0 {
		return nil
	}
	if away := f.Outline.DistanceKM(latDeg, lonDeg); away > nearEnoughKM {
		return elsewhere("the forecast's place", f.Outline, latDeg, lonDeg, away, nearEnoughKM)
	}
	return nil
}

// Reaches refuses a forecast whose hours are all over at a time.
func (f Forecast) Reaches(now time.Time) error {
	end := f.Hours[len(f.Hours)-1].Time.Add(time.Hour)
	if now.Before(end) {
		return nil
	}
	return refuse(CodePast, "the forecast's hours", fmt.Sprintf("the last of them ended %s, %s ago", stamp(end), long(now.Sub(end))), "a forecast that reaches beyond now, "+stamp(now))
}

// long says a time as people do, in hours or days.
func long(d time.Duration) string {
	if d < 48*time.Hour {
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}

func elsewhere(where string, o Outline, latDeg, lonDeg, away, least float64) error {
	return refuse(CodeElsewhere, where, fmt.Sprintf("it is for %.3f,%.3f, %s from the roof", o[0][0][1], o[0][0][0], far(away)),
		fmt.Sprintf("one for the roof's own place, %.3f,%.3f, or within %s of it", latDeg, lonDeg, far(least)))
}

// AlertsAt are the alerts that are for a place: those whose outline holds it or passes within
// 10 km, and those that name zones only, which nobody can lay on a map here.
func AlertsAt(alerts []Alert, latDeg, lonDeg float64) []Alert {
	var at []Alert
	for _, a := range alerts {
		if len(a.Outline) == 0 || a.Outline.DistanceKM(latDeg, lonDeg) <= alertMarginKM {
			at = append(at, a)
		}
	}
	return at
}

// CheckAlerts refuses alerts that are all for elsewhere than a roof's place. None at all are
// taken: nothing is warned of.
func CheckAlerts(alerts []Alert, latDeg, lonDeg float64) error {
	if len(alerts) == 0 || len(AlertsAt(alerts, latDeg, lonDeg)) > 0 {
		return nil
	}
	nearest, away := alerts[0].Outline, math.Inf(1)
	for _, a := range alerts {
		if d := a.Outline.DistanceKM(latDeg, lonDeg); d < away {
			nearest, away = a.Outline, d
		}
	}
	return elsewhere("the nearest alert", nearest, latDeg, lonDeg, away, alertMarginKM)
}

// AlertsReach refuses alerts that are all over at a time, though not that there are none.
func AlertsReach(alerts []Alert, now time.Time) error {
	var last time.Time
	for _, a := range alerts {
		if _, to := a.Holds(); to.After(last) {
			last = to
		}
	}
	if len(alerts) == 0 || now.Before(last) {
		return nil
	}
	return refuse(CodePast, "the alerts", fmt.Sprintf("the last of them ended %s, %s ago", stamp(last), long(now.Sub(last))), "alerts of which one holds beyond now, "+stamp(now))
}
