package weather

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// columns are the names that our CSV knows: a layer and the unit its name ends in.
var columns = map[string]struct{ layer, unit string }{
	"rain_mm": {"rain", "mm"}, "rain_in": {"rain", "in"}, "chance_pct": {"chance", "pct"},
	"wind_ms": {"wind", "ms"}, "wind_mph": {"wind", "mph"}, "wind_kmh": {"wind", "kmh"}, "wind_kt": {"wind", "kt"},
	"gust_ms": {"gust", "ms"}, "gust_mph": {"gust", "mph"}, "gust_kmh": {"gust", "kmh"}, "gust_kt": {"gust", "kt"},
	"wind_from_deg": {"wind_from", "deg"},
	"temp_c":        {"temp", "c"}, "temp_f": {"temp", "f"}, "dew_c": {"dew", "c"}, "dew_f": {"dew", "f"},
	"rh_pct": {"rh", "pct"}, "thunder_pct": {"thunder", "pct"}, "sky_pct": {"sky", "pct"},
	"snow_mm": {"snow", "mm"}, "snow_in": {"snow", "in"}, "ice_mm": {"ice", "mm"}, "ice_in": {"ice", "in"},
}

const columnsWant = "time and columns such as rain_mm, chance_pct, wind_ms, gust_mph, wind_from_deg, temp_f, dew_c"

// readCSV reads our own CSV:
//
//	# issued: 2026-03-04T12:00:00-05:00
//	# place: shop roof
//	time,rain_mm,chance_pct,wind_ms,gust_ms,wind_from_deg,temp_c,dew_c
//	2026-03-04T13:00:00-05:00,0.4,60,5,9,200,8.5,6
//	2026-03-04T14:00:00-05:00/PT6H,6,80,,,,,
//
// time is the start of an hour or an interval; an empty cell is not known. It is ours, so
// everything else is refused with its line: an unknown or doubled column, a number that
// cannot be, rows out of order or one upon another.
func readCSV(doc []byte) (Forecast, error) {
	// encoding/csv drops comment lines before anyone sees them, so they are read first.
	head, err := csvHead(doc)
	if err != nil {
		return Forecast{}, err
	}
	r := csv.NewReader(bytes.NewReader(doc))
	r.Comment, r.ReuseRecord, r.TrimLeadingSpace = '#', true, true
	names, err := r.Read()
	if err != nil {
		return Forecast{}, csvRefusal(r, err)
	}
	all, err := csvColumns(names)
	if err != nil {
		return Forecast{}, err
	}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Forecast{}, csvRefusal(r, err)
		}
		line, _ := r.FieldPos(0)
		if err := csvRow(all, cells, line); err != nil {
			return Forecast{}, err
		}
	}
	kept := make([]series, 0, len(all))
	for _, c := range all[1:] {
		kept = append(kept, c.series)
	}
	f, err := assemble(KindCSV, head["issued"], head["place"], kept)
	if err == nil && doc[len(doc)-1] != '\n' {
		f.Told = append(f.Told, Note{NoteMayBeCut, "last line", "it has no line end: if the file was cut off there, its last number is wrong"})
	}
	return f, err
}

// csvHead reads the comment lines at the start: "# issued: …", "# place: …".
func csvHead(doc []byte) (map[string]string, error) {
	head := map[string]string{}
	for line := range strings.Lines(string(doc[:min(len(doc), 4096)])) {
		text, ok := strings.CutPrefix(strings.TrimSpace(line), "#")
		if !ok {
			break
		}
		key, value, ok := strings.Cut(text, ":")
		key = strings.TrimSpace(key)
		if !ok || key != "issued" && key != "place" {
			continue // a plain remark
		}
		if _, twice := head[key]; twice {
			return nil, refuse(CodeDoubled, "line that begins with #", key, "issued and place once each")
		}
		head[key] = clip(strings.TrimSpace(value))
	}
	return head, nil
}

type csvColumn struct {
	series
	unit measure
}

// csvColumns reads the header; the first of the answer stands for the time.
func csvColumns(names []string) ([]csvColumn, error) {
	if strings.TrimSpace(names[0]) != "time" {
		return nil, refuse(CodeUnknown, "header, column 1", names[0], columnsWant)
	}
	all := make([]csvColumn, 1, len(names))
	seen := map[string]bool{}
	for n, name := range names[1:] {
		name = strings.TrimSpace(name)
		c, ok := columns[name]
		where := fmt.Sprintf("header, column %d", n+2)
		if !ok {
			return nil, refuse(CodeUnknown, where, name, columnsWant)
		}
		if seen[c.layer] {
			return nil, refuse(CodeDoubled, where, name, "each quantity in one column")
		}
		seen[c.layer] = true
		l := layerNamed(c.layer)
		all = append(all, csvColumn{series{layer: l, where: strings.Clone(name)}, units[l.unit][c.unit]})
	}
	if len(all) == 1 {
		return nil, refuse(CodeNothing, "header", "time alone", columnsWant)
	}
	return all, nil
}

// csvRow reads one row into the columns' series.
func csvRow(all []csvColumn, cells []string, line int) error {
	at, err := csvTime(cells[0], line)
	if err != nil {
		return err
	}
	rows := all[1].intervals
	if len(rows) >= maxIntervals {
		return refuse(CodeTooLarge, fmt.Sprintf("line %d", line), "one row more", fmt.Sprintf("at most %d rows", maxIntervals))
	}
	if n := len(rows); n > 0 && at.start.Before(rows[n-1].end) {
		return refuse(CodeDoubled, fmt.Sprintf("line %d, time", line), cells[0], "rows in order that do not overlap; the row before ends "+rows[n-1].end.Format(time.RFC3339))
	}
	for n := range all[1:] {
		c := &all[n+1]
		value, err := c.cell(cells[n+1], at, line)
		if err != nil {
			return err
		}
		c.intervals = append(c.intervals, interval{at, value})
	}
	return nil
}

func csvTime(text string, line int) (span, error) {
	text = strings.TrimSpace(text)
	interval := text
	if !strings.Contains(interval, "/") {
		interval += "/PT1H"
	}
	at, ok := parseSpan(interval)
	if !ok {
		return span{}, refuse(CodeUnreadable, fmt.Sprintf("line %d, time", line), text, "RFC 3339 with its zone, or an interval such as 2026-03-04T13:00:00-05:00/PT6H")
	}
	return at, nil
}

func (c *csvColumn) cell(text string, at span, line int) (Reading, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return Reading{}, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(text, "xX_pP") {
		return Reading{}, refuse(CodeUnreadable, fmt.Sprintf("line %d, %s", line, c.where), text, "a number, or nothing where it is not known")
	}
	v = c.unit.of(v)
	hourly := v
	if c.amount && v > 0 {
		hourly = v / math.Max(1, at.length().Hours())
	}
	// Half a millionth of slack: 100 °F and the like do not come out even in °C.
	if hourly < c.lo-5e-7 || hourly > c.hi+5e-7 {
		return Reading{}, refuse(CodeOutOfRange, fmt.Sprintf("line %d, %s", line, c.where), text, fmt.Sprintf("%g to %g %s", c.lo, c.hi, c.layer.unit))
	}
	return Known(v), nil
}

func csvRefusal(r *csv.Reader, err error) error {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return refuse(CodeUnreadable, fmt.Sprintf("line %d", p.Line), p.Err.Error(), "as many cells as the header has, whole lines")
	}
	return refuse(CodeUnreadable, fmt.Sprintf("byte %d", r.InputOffset()), err.Error(), columnsWant)
}
