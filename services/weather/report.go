package weather

import (
	"bytes"
	"encoding/json/jsontext"
	"fmt"
	"strings"
	"time"
)

// Alert is one warning of the weather service, in force from Onset (or Sent) until Ends
// (or Expires). Times that the document does not give are zero.
type Alert struct {
	ID        string    `json:"id"`
	Event     string    `json:"event"`
	Kind      string    `json:"kind"` // wind, flood, winter, heat, thunder or other
	Severity  string    `json:"severity"`
	Certainty string    `json:"certainty"`
	Urgency   string    `json:"urgency"`
	Headline  string    `json:"headline"`
	Area      string    `json:"area"`
	Sent      time.Time `json:"sent"`
	Onset     time.Time `json:"onset,omitzero"`
	Expires   time.Time `json:"expires"`
	Ends      time.Time `json:"ends,omitzero"`
	// Status and Message are the protocol's: other than an actual alert, and one that is
	// cancelled, is never in force.
	Status  string  `json:"status,omitempty"`
	Message string  `json:"message,omitempty"`
	Mapped  bool    `json:"mapped"` // the document gives an outline and not only zones
	Outline Outline `json:"outline,omitempty"`
}

// maxFeatures bounds a collection; a whole state under storms has a few hundred alerts.
const maxFeatures = 2000

// collection is what alerts and observations come in; a single observation comes bare.
type collection struct {
	Type       jsontext.Value `json:"type"`
	Features   []feature      `json:"features"`
	Geometry   jsontext.Value `json:"geometry"`
	Properties jsontext.Value `json:"properties"`
}

type feature struct {
	Geometry   jsontext.Value `json:"geometry"`
	Properties jsontext.Value `json:"properties"`
}

func readCollection(doc []byte) (collection, error) {
	var c collection
	if err := checkLength(doc); err != nil {
		return c, err
	}
	if err := decode(doc, "document", &c); err != nil {
		return c, err
	}
	if len(c.Features) > maxFeatures {
		return c, refuse(CodeTooLarge, "features", fmt.Sprint(len(c.Features)), fmt.Sprintf("at most %d", maxFeatures))
	}
	return c, nil
}

// ReadAlerts reads the weather service's collection of alerts in the order it came. An
// empty collection is no alert; anything else is an *events.Refusal, also an alert without event
// or times: a warning half read must not look like none.
func ReadAlerts(doc []byte) ([]Alert, error) {
	c, err := readCollection(doc)
	if err != nil {
		return nil, err
	}
	if c.Features == nil {
		return nil, refuse(CodeUnknown, "document", "no features", "a collection of alerts")
	}
	alerts := make([]Alert, 0, len(c.Features))
	for n, f := range c.Features {
		a, err := readAlert(f, fmt.Sprintf("features, alert %d", n+1))
		if err != nil {
			return nil, err
		}
		alerts = append(alerts, a)
	}
	return alerts, nil
}

func readAlert(f feature, where string) (Alert, error) {
	var p struct {
		ID        string  `json:"id"`
		Event     string  `json:"event"`
		Severity  string  `json:"severity"`
		Certainty string  `json:"certainty"`
		Urgency   string  `json:"urgency"`
		Headline  string  `json:"headline"`
		Area      string  `json:"areaDesc"`
		Status    string  `json:"status"`
		Message   string  `json:"messageType"`
		Sent      *string `json:"sent"`
		Onset     *string `json:"onset"`
		Expires   *string `json:"expires"`
		Ends      *string `json:"ends"`
	}
	if err := decode(f.Properties, where, &p); err != nil {
		return Alert{}, err
	}
	if p.Event == "" {
		return Alert{}, refuse(CodeUnreadable, where+", event", "nothing", "what is warned of")
	}
	a := Alert{ID: p.ID, Event: p.Event, Kind: alertKind(p.Event), Severity: p.Severity, Certainty: p.Certainty,
		Urgency: p.Urgency, Headline: p.Headline, Area: p.Area, Status: p.Status, Message: p.Message, Mapped: f.Geometry.Kind() == '{', Outline: outlineOf(f.Geometry)}
	for _, t := range []struct {
		name string
		from *string
		to   *time.Time
		must bool
	}{{"sent", p.Sent, &a.Sent, true}, {"onset", p.Onset, &a.Onset, false}, {"expires", p.Expires, &a.Expires, true}, {"ends", p.Ends, &a.Ends, false}} {
		if t.from == nil && !t.must {
			continue
		}
		was := ""
		if t.from != nil {
			was = *t.from
		}
		v, err := time.Parse(time.RFC3339, was)
		if err != nil {
			return Alert{}, refuse(CodeUnreadable, where+", "+t.name, was, "a time with its zone")
		}
		*t.to = v.UTC()
	}
	return a, nil
}

// Holds tells from when to when the alert holds: from its onset, or since it was sent; until
// it ends, or else until what was sent expires.
func (a Alert) Holds() (from, to time.Time) {
	from, to = a.Onset, a.Ends
	if from.IsZero() {
		from = a.Sent
	}
	if to.IsZero() {
		to = a.Expires
	}
	return from, to
}

// InForce tells whether the alert holds at some moment between from and to. Exercises, tests
// and drafts never do, nor does what was cancelled (OASIS Common Alerting Protocol 1.2, status
// and msgType).
func (a Alert) InForce(from, to time.Time) bool {
	if a.Status != "" && a.Status != "Actual" || a.Message == "Cancel" {
		return false
	}
	begins, ends := a.Holds()
	return begins.Before(to) && ends.After(from)
}

// alertKind sorts the service's event names, of which there are over a hundred, by what
// they mean to a roof. The first word that fits decides; a storm of snow is winter.
func alertKind(event string) string {
	for _, k := range []struct {
		kind  string
		words []string
	}{
		{"winter", []string{"Winter", "Snow", "Ice", "Blizzard", "Freez", "Frost", "Cold", "Chill", "Avalanche", "Sleet"}},
		{"thunder", []string{"Thunderstorm", "Tornado", "Lightning"}},
		{"flood", []string{"Flood", "Rain", "Hydrologic"}},
		{"wind", []string{"Wind", "Hurricane", "Tropical Storm", "Gale", "Typhoon", "Dust Storm"}},
		{"heat", []string{"Heat"}},
	} {
		for _, w := range k.words {
			if strings.Contains(event, w) {
				return k.kind
			}
		}
	}
	return "other"
}

// Observation is what a station measured; readings it lacks are unknown.
type Observation struct {
	Station     string    `json:"station"`
	At          time.Time `json:"at"`
	Raw         string    `json:"raw"` // the METAR, where there is one
	TempC       Reading   `json:"temp_c"`
	DewC        Reading   `json:"dew_c"`
	WindFromDeg Reading   `json:"wind_from_deg"`
	WindMS      Reading   `json:"wind_ms"`
	GustMS      Reading   `json:"gust_ms"`
	RHPct       Reading   `json:"rh_pct"`
	PressurePa  Reading   `json:"pressure_pa"`
	RainMM      Reading   `json:"rain_mm"` // of the last hour
	Told        []Note    `json:"told"`
}

// ReadObservations reads a station's observation, or a collection of them, in order.
// Absurd values and unknown units are left unknown and told, as Read does.
func ReadObservations(doc []byte) ([]Observation, error) {
	c, err := readCollection(doc)
	if err != nil {
		return nil, err
	}
	if c.Features == nil && c.Properties != nil {
		c.Features = []feature{{c.Geometry, c.Properties}}
	}
	if len(c.Features) == 0 {
		return nil, refuse(CodeNothing, "document", "no observation in it", "a station's observations")
	}
	out := make([]Observation, 0, len(c.Features))
	for n, f := range c.Features {
		o, err := readObservation(f, fmt.Sprintf("features, observation %d", n+1))
		if err != nil {
			return nil, err
		}
		out = append(out, o)
	}
	return out, nil
}

func readObservation(f feature, where string) (Observation, error) {
	var p struct {
		Station   string   `json:"station"`
		StationID string   `json:"stationId"`
		Timestamp string   `json:"timestamp"`
		Raw       string   `json:"rawMessage"`
		Temp      quantity `json:"temperature"`
		Dew       quantity `json:"dewpoint"`
		Direction quantity `json:"windDirection"`
		Wind      quantity `json:"windSpeed"`
		Gust      quantity `json:"windGust"`
		RH        quantity `json:"relativeHumidity"`
		Pressure  quantity `json:"barometricPressure"`
		Rain      quantity `json:"precipitationLastHour"`
	}
	if err := decode(f.Properties, where, &p); err != nil {
		return Observation{}, err
	}
	at, err := time.Parse(time.RFC3339, p.Timestamp)
	if err != nil {
		return Observation{}, refuse(CodeUnreadable, where+", timestamp", p.Timestamp, "a time with its zone")
	}
	o := Observation{Station: p.StationID, At: at.UTC(), Raw: p.Raw}
	if o.Station == "" {
		o.Station = p.Station[strings.LastIndex(p.Station, "/")+1:]
	}
	for _, q := range []struct {
		layer, where string
		from         quantity
		to           *Reading
	}{
		{"temp", "temperature", p.Temp, &o.TempC}, {"dew", "dewpoint", p.Dew, &o.DewC},
		{"wind_from", "windDirection", p.Direction, &o.WindFromDeg}, {"wind", "windSpeed", p.Wind, &o.WindMS},
		{"gust", "windGust", p.Gust, &o.GustMS}, {"rh", "relativeHumidity", p.RH, &o.RHPct},
		{"rain", "precipitationLastHour", p.Rain, &o.RainMM}, {"pressure", "barometricPressure", p.Pressure, &o.PressurePa},
	} {
		o.take(q.layer, q.where, q.from, q.to)
	}
	return o, nil
}

// stationPressure is the one layer that stations measure and forecasts do not hold; the
// limits are those of inhabited heights, from the Dead Sea to 5,000 m.
var stationPressure = layer{name: "pressure", unit: "Pa", lo: 50_000, hi: 112_000}

func (o *Observation) take(name, where string, from quantity, to *Reading) {
	if !from.Value.Known {
		return
	}
	l := stationPressure
	if name != l.name {
		l = layerNamed(name)
	}
	unit, ok := unitOf(l, from.UnitCode)
	if !ok {
		o.Told = append(o.Told, Note{NoteUnit, where, fmt.Sprintf("%q is no unit of it that is known: not taken", clip(from.UnitCode))})
		return
	}
	v := unit.of(from.Value.V)
	if !(v >= l.lo && v <= l.hi) {
		o.Told = append(o.Told, Note{NoteAbsurd, where, fmt.Sprintf("%g %s is outside %g to %g: not taken", v, l.unit, l.lo, l.hi)})
		return
	}
	*to = Known(v)
}

// Sniff tells what kind of document doc looks like, by its outermost members alone;
// empty where it is none of them. It reads nothing else of it.
func Sniff(doc []byte) string {
	text := bytes.TrimSpace(bytes.TrimPrefix(doc, []byte("\uFEFF")))
	if len(text) == 0 || len(doc) > maxDocument {
		return ""
	}
	if text[0] != '{' {
		return KindCSV
	}
	var d struct {
		Hours      jsontext.Value `json:"hours"`
		Properties struct {
			probe
			Timestamp jsontext.Value `json:"timestamp"`
		} `json:"properties"`
		Features []struct {
			Properties struct {
				Timestamp jsontext.Value `json:"timestamp"`
			} `json:"properties"`
		} `json:"features"`
		probe
	}
	if err := decode(doc, "document", &d); err != nil {
		return "" // whoever reads it will be told why
	}
	switch {
	case d.Hours != nil:
		return KindOwn
	case len(d.Features) > 0 && d.Features[0].Properties.Timestamp != nil, d.Properties.Timestamp != nil:
		return KindObservation
	case d.Features != nil:
		return KindAlerts
	case d.Properties.Periods != nil || d.Periods != nil:
		return KindHourly
	case d.Properties.ValidTimes != nil || d.ValidTimes != nil:
		return KindGridpoint
	}
	return ""
}
