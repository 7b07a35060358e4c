package main

import (
	"errors"
	"fmt"
	"strconv"
	"text/tabwriter"
	"time"

	"bydark/services/weather"

	"github.com/alecthomas/kong"
)

type weatherVerb struct {
	Read weatherReadVerb `cmd:"" help:"Read a forecast document, hour by hour."`
	Sun  weatherSunVerb  `cmd:"" help:"Sunrise, sunset and civil dusk at a place."`
}

type weatherReadVerb struct {
	File string     `arg:"" help:"A National Weather Service gridpoint or hourly document, or our own CSV or JSON; - reads standard input."`
	JSON bool       `help:"Print one JSON document."`
	Lat  *degrees   `help:"Degrees north of a roof: refuse the document if it is for another place." and:"place"`
	Lon  *degrees   `help:"Degrees east of that roof." and:"place"`
	At   *time.Time `help:"Refuse the document if all its hours are over at this time, RFC 3339." placeholder:"TIME"`
}

func (v weatherReadVerb) Run(p *program) error {
	data, err := p.read(v.File)
	if err != nil {
		return err
	}
	f, err := weather.Read(data)
	if err == nil && v.Lat != nil {
		err = f.Near(float64(*v.Lat), float64(*v.Lon))
	}
	if err == nil && v.At != nil {
		err = f.Reaches(*v.At)
	}
	if err != nil {
		return refuse(v.File, err)
	}
	if v.JSON {
		return p.print(f)
	}
	return printForecast(p, f)
}

func printForecast(p *program, f weather.Forecast) error {
	w := tabwriter.NewWriter(p.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "hour (UTC)\train mm\tchance %\twind m/s\tgust m/s\tfrom deg\ttemp C\tdew C\t")
	for _, h := range f.Hours {
		fmt.Fprint(w, h.Time.Format("2006-01-02 15:04"), "\t")
		for _, r := range []weather.Reading{h.RainMM, h.ChancePct, h.WindMS, h.GustMS, h.WindFromDeg, h.TempC, h.DewC} {
			text := "-"
			if r.Known {
				text = strconv.FormatFloat(r.V, 'f', 1, 64)
			}
			fmt.Fprint(w, text, "\t")
		}
		fmt.Fprintln(w)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, n := range f.Told {
		if _, err := fmt.Fprintf(p.out, "%s: %s (%s)\n", n.Where, n.Text, n.Code); err != nil {
			return err
		}
	}
	return nil
}

// degrees is a flag whose value may begin with a minus, which kong takes for another flag.
type degrees float64

// Decode reads the next word whatever it begins with.
func (d *degrees) Decode(ctx *kong.DecodeContext) error {
	token := ctx.Scan.Pop()
	if token.IsEOL() {
		return errors.New("nothing given; want degrees")
	}
	v, err := strconv.ParseFloat(token.String(), 64)
	if err != nil {
		return fmt.Errorf("%q; want degrees, a plain number", token.String())
	}
	*d = degrees(v)
	return nil
}

type weatherSunVerb struct {
	Lat  degrees `help:"Degrees north." required:""`
	Lon  degrees `help:"Degrees east." required:""`
	Date string  `help:"The day, YYYY-MM-DD." required:""`
	Zone string  `help:"Its time zone, as America/New_York." required:""`
	JSON bool    `help:"Print one JSON document."`
}

// sunDocument holds null where the sun does not cross that day, and says why beside it.
type sunDocument struct {
	Sunrise   *time.Time        `json:"sunrise"`
	Sunset    *time.Time        `json:"sunset"`
	CivilDusk *time.Time        `json:"civil_dusk"`
	CivilDawn *time.Time        `json:"civil_dawn"`
	Noon      time.Time         `json:"noon"`
	Never     map[string]string `json:"never,omitempty"`
}

func (v weatherSunVerb) Run(p *program) error {
	day, err := v.day()
	if err != nil {
		return err
	}
	sun, err := weather.Sun(float64(v.Lat), float64(v.Lon), day)
	if err != nil {
		return refuse("weather sun", err)
	}
	doc := sunDocument{Noon: sun.Noon.Round(time.Second), Never: map[string]string{}}
	for _, c := range []struct {
		name string
		at   weather.Crossing
		to   **time.Time
	}{
		{"civil_dawn", sun.CivilDawn, &doc.CivilDawn}, {"sunrise", sun.Sunrise, &doc.Sunrise},
		{"sunset", sun.Sunset, &doc.Sunset}, {"civil_dusk", sun.CivilDusk, &doc.CivilDusk},
	} {
		var text string
		if c.at.Never != "" {
			doc.Never[c.name] = "the sun " + string(c.at.Never)
			text = doc.Never[c.name]
		} else {
			at := c.at.At.Round(time.Second)
			*c.to, text = &at, at.Format(time.RFC3339)
		}
		if !v.JSON {
			if _, err := fmt.Fprintf(p.out, "%-10s  %s\n", c.name, text); err != nil {
				return err
			}
		}
	}
	if v.JSON {
		return p.print(doc)
	}
	return nil
}

// day is noon of the day: midnight is missing where clocks leap at it.
func (v weatherSunVerb) day() (time.Time, error) {
	date, err := time.Parse(time.DateOnly, v.Date)
	if err != nil {
		return time.Time{}, &badInput{fmt.Errorf("--date: %q; want a day, YYYY-MM-DD", v.Date)}
	}
	zone, err := time.LoadLocation(v.Zone)
	if err != nil || v.Zone == "" || v.Zone == "Local" {
		return time.Time{}, &badInput{fmt.Errorf("--zone: %q; want a time zone by name, as America/New_York", v.Zone)}
	}
	day := time.Date(date.Year(), date.Month(), date.Day(), 12, 0, 0, 0, zone)
	if day.Format(time.DateOnly) != v.Date {
		return time.Time{}, &badInput{fmt.Errorf("--date: %s is a day that %s left out; want another", v.Date, v.Zone)}
	}
	return day, nil
}
