package weather

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// periodic is the part of a forecast by periods that a roof needs.
type periodic struct {
	UpdateTime  string   `json:"updateTime"`
	GeneratedAt string   `json:"generatedAt"`
	Periods     []period `json:"periods"`
}

type period struct {
	StartTime       string         `json:"startTime"`
	EndTime         string         `json:"endTime"`
	Temperature     jsontext.Value `json:"temperature"` // a number beside its unit, or a quantity
	TemperatureUnit string         `json:"temperatureUnit"`
	Chance          *quantity      `json:"probabilityOfPrecipitation"`
	Rain            *quantity      `json:"quantitativePrecipitation"`
	Dew             *quantity      `json:"dewpoint"`
	RH              *quantity      `json:"relativeHumidity"`
	WindSpeed       jsontext.Value `json:"windSpeed"` // "10 to 15 mph", or a quantity
	WindGust        jsontext.Value `json:"windGust"`
	WindDirection   string         `json:"windDirection"`
}

// quantity is a value with the unit it declares.
type quantity struct {
	UnitCode string  `json:"unitCode"`
	Value    Reading `json:"value"`
	MaxValue Reading `json:"maxValue"`
}

// longestHourly parts the hourly forecast from the one in half days: the hourly one has
// two-hour periods where the clock changes.
const longestHourly = 3 * time.Hour

func readPeriods(properties, geometry []byte) (Forecast, error) {
	var p periodic
	if err := decode(properties, "properties", &p); err != nil {
		return Forecast{}, err
	}
	if len(p.Periods) > maxIntervals {
		return Forecast{}, refuse(CodeTooLarge, "periods", strconv.Itoa(len(p.Periods)), fmt.Sprintf("at most %d", maxIntervals))
	}
	kind := KindHourly
	r := periodReader{series: map[string]*series{}}
	for n, period := range p.Periods {
		at, ok := parseSpan(period.StartTime + "/" + period.EndTime)
		where := fmt.Sprintf("periods, period %d", n+1)
		if !ok {
			return Forecast{}, refuse(CodeUnreadable, where, period.StartTime+"/"+period.EndTime, "a start and a later end with their zone")
		}
		if at.length() > longestHourly {
			kind = KindPeriods
		}
		if err := r.read(where, at, period); err != nil {
			return Forecast{}, err
		}
	}
	if kind == KindPeriods {
		delete(r.series, "temp")
		r.tell(NoteNotLevel, "temperature", "a half day's high or low is not the temperature of its hours: not taken")
	}
	var all []series
	for _, l := range layers {
		if s, ok := r.series[l.name]; ok {
			all = append(all, *s)
		}
	}
	if _, ok := r.series["rain"]; !ok {
		r.tell(NoteNotGiven, "rain", "a forecast by periods has no amounts of rain")
	}
	issued := p.UpdateTime
	if issued == "" {
		issued = p.GeneratedAt
	}
	f, err := assemble(kind, issued, middle(geometry), all)
	f.Told = append(r.told, f.Told...)
	f.placed(geometry)
	return f, err
}

// periodReader gathers series over the periods; each kind of note is told once.
type periodReader struct {
	series map[string]*series
	told   []Note
}

func (r *periodReader) tell(code, where, text string) {
	for _, n := range r.told {
		if n.Code == code && n.Where == where {
			return
		}
	}
	r.told = append(r.told, Note{code, where, text})
}

func (r *periodReader) add(name, where string, at span, v Reading) {
	s, ok := r.series[name]
	if !ok {
		s = &series{layer: layerNamed(name), where: where}
		r.series[name] = s
	}
	s.intervals = append(s.intervals, interval{at, v})
}

// take converts a value from its declared unit; an unknown unit leaves it unknown.
func (r *periodReader) take(name, where string, at span, unit string, v Reading) {
	if v.Known {
		m, ok := unitOf(layerNamed(name), unit)
		if !ok {
			r.tell(NoteUnit, where, fmt.Sprintf("%q is no unit of it that is known: not taken", clip(unit)))
			v = Reading{}
		} else {
			v.V = m.of(v.V)
		}
	}
	r.add(name, where, at, v)
}

func (r *periodReader) read(where string, at span, p period) error {
	for _, q := range []struct {
		name, where string
		v           *quantity
	}{
		{"rain", "quantitativePrecipitation", p.Rain}, {"chance", "probabilityOfPrecipitation", p.Chance},
		{"dew", "dewpoint", p.Dew}, {"rh", "relativeHumidity", p.RH},
	} {
		if q.v != nil {
			r.take(q.name, q.where, at, q.v.UnitCode, q.v.Value)
		}
	}
	if err := r.temperature(where, at, p); err != nil {
		return err
	}
	for _, w := range []struct {
		name, where string
		v           jsontext.Value
	}{{"wind", "windSpeed", p.WindSpeed}, {"gust", "windGust", p.WindGust}} {
		if err := r.speed(w.name, w.where, where, at, w.v); err != nil {
			return err
		}
	}
	from, ok := compass[p.WindDirection]
	if p.WindDirection != "" && !ok {
		r.tell(NoteDirection, "windDirection", fmt.Sprintf("%q is no point of the compass: not taken", clip(p.WindDirection)))
	}
	r.add("wind_from", "windDirection", at, Reading{from, ok})
	return nil
}

func (r *periodReader) temperature(where string, at span, p period) error {
	switch p.Temperature.Kind() {
	case '{':
		q, err := quantityOf(p.Temperature, where+", temperature")
		if err != nil {
			return err
		}
		r.take("temp", "temperature", at, q.UnitCode, q.Value)
	case '0':
		var v Reading
		if err := decode(p.Temperature, where+", temperature", &v); err != nil {
			return err
		}
		r.take("temp", "temperature", at, p.TemperatureUnit, v)
	case 'n', 0:
		r.add("temp", "temperature", at, Reading{})
	default:
		return refuse(CodeUnreadable, where+", temperature", string(p.Temperature), "a number or a quantity")
	}
	return nil
}

// speed reads a wind as text ("14 mph", "10 to 15 mph") or as a quantity. Of a range the
// upper end is taken: it is the one that blows something off.
func (r *periodReader) speed(name, layer, where string, at span, v jsontext.Value) error {
	switch v.Kind() {
	case '"':
		var text string
		if err := decode(v, where+", "+layer, &text); err != nil {
			return err
		}
		if text == "" {
			r.add(name, layer, at, Reading{})
			return nil
		}
		n, unit, ok := speedOf(text)
		if !ok {
			return refuse(CodeUnreadable, where+", "+layer, text, `a speed with its unit, such as "14 mph" or "10 to 15 mph"`)
		}
		r.take(name, layer, at, unit, Known(n))
	case '{':
		q, err := quantityOf(v, where+", "+layer)
		if err != nil {
			return err
		}
		if !q.Value.Known {
			q.Value = q.MaxValue
		}
		r.take(name, layer, at, q.UnitCode, q.Value)
	case 'n':
		r.add(name, layer, at, Reading{})
	case 0: // the document does not speak of it
	default:
		return refuse(CodeUnreadable, where+", "+layer, string(v), "a text or a quantity")
	}
	return nil
}

// speedOf reads "14 mph" and "10 to 15 mph", whole numbers or decimals, and gives the upper
// end and the unit.
func speedOf(text string) (upper float64, unit string, ok bool) {
	words := strings.Fields(text)
	if len(words) != 2 && !(len(words) == 4 && words[1] == "to") {
		return 0, "", false
	}
	lower := 0.0
	for n := 0; n < len(words)-1; n += 2 {
		v, err := strconv.ParseFloat(words[n], 64)
		// Nothing that only a program writes: no sign, no power, no NaN.
		if err != nil || strings.Trim(words[n], "0123456789.") != "" || v < lower {
			return 0, "", false
		}
		lower = v
	}
	return lower, words[len(words)-1], true
}

func quantityOf(v jsontext.Value, where string) (quantity, error) {
	var q quantity
	err := decode(v, where, &q)
	return q, err
}

// middle names the place by the middle of the document's outline, in thousandths of a
// degree, north and east; empty where there is none.
func middle(geometry []byte) string {
	var g struct {
		Coordinates [][][2]float64 `json:"coordinates"`
	}
	if json.Unmarshal(geometry, &g) != nil || len(g.Coordinates) == 0 || len(g.Coordinates[0]) < 2 {
		return "" // the place's name is a comfort, not a value that anything is computed from
	}
	ring := g.Coordinates[0][1:] // the first point stands again at the end
	var lon, lat float64
	for _, p := range ring {
		lon += p[0]
		lat += p[1]
	}
	n := float64(len(ring))
	return fmt.Sprintf("%.3f,%.3f", lat/n, lon/n)
}
