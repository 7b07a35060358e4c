package weather

import (
	"encoding/json/jsontext"
	"fmt"
	"strings"
)

// gridpoint is the part of a gridpoint document that a roof needs.
type gridpoint struct {
	UpdateTime string         `json:"updateTime"`
	GridID     string         `json:"gridId"`
	GridX      jsontext.Value `json:"gridX"` // a number, in older documents a string
	GridY      jsontext.Value `json:"gridY"`

	Rain      gridLayer `json:"quantitativePrecipitation"`
	Chance    gridLayer `json:"probabilityOfPrecipitation"`
	Wind      gridLayer `json:"windSpeed"`
	Gust      gridLayer `json:"windGust"`
	Direction gridLayer `json:"windDirection"`
	Temp      gridLayer `json:"temperature"`
	Dew       gridLayer `json:"dewpoint"`
	RH        gridLayer `json:"relativeHumidity"`
	Snow      gridLayer `json:"snowfallAmount"`
	Ice       gridLayer `json:"iceAccumulation"`
	Thunder   gridLayer `json:"probabilityOfThunder"`
	Sky       gridLayer `json:"skyCover"`
}

type gridLayer struct {
	UOM    string `json:"uom"`
	Values []struct {
		ValidTime string  `json:"validTime"`
		Value     Reading `json:"value"`
	} `json:"values"`
}

func readGridpoint(properties, geometry []byte) (Forecast, error) {
	var g gridpoint
	if err := decode(properties, "properties", &g); err != nil {
		return Forecast{}, err
	}
	var all []series
	var told []Note
	for _, x := range []struct {
		name, where string
		layer       gridLayer
	}{
		{"rain", "quantitativePrecipitation", g.Rain}, {"chance", "probabilityOfPrecipitation", g.Chance},
		{"wind", "windSpeed", g.Wind}, {"gust", "windGust", g.Gust}, {"wind_from", "windDirection", g.Direction},
		{"temp", "temperature", g.Temp}, {"dew", "dewpoint", g.Dew}, {"rh", "relativeHumidity", g.RH},
		{"snow", "snowfallAmount", g.Snow}, {"ice", "iceAccumulation", g.Ice},
		{"thunder", "probabilityOfThunder", g.Thunder}, {"sky", "skyCover", g.Sky},
	} {
		s, note, err := x.layer.series(layerNamed(x.name), x.where)
		if err != nil {
			return Forecast{}, err
		}
		if note != nil {
			told = append(told, *note)
			continue
		}
		all = append(all, s)
	}
	place := ""
	if g.GridID != "" {
		place = fmt.Sprintf("%s/%s,%s", g.GridID, bare(g.GridX), bare(g.GridY))
	}
	if len(all) == 0 {
		for _, n := range told {
			if n.Code == NoteUnit {
				return Forecast{}, refuse(CodeNothing, n.Where, n.Text, "a unit such as wmoUnit:mm, and some layer of the document in one that is known")
			}
		}
	}
	f, err := assemble(KindGridpoint, g.UpdateTime, place, all)
	f.Told = append(told, f.Told...)
	f.placed(geometry)
	return f, err
}

// series reads the layer in our unit, or gives a note why nothing of it is taken.
func (g gridLayer) series(l layer, where string) (series, *Note, error) {
	if len(g.Values) == 0 {
		return series{}, &Note{NoteNotGiven, where, "the document has no values of it"}, nil
	}
	unit, ok := unitOf(l, g.UOM)
	if !ok {
		return series{}, &Note{NoteUnit, where, fmt.Sprintf("%q is no unit of it that is known: nothing of it is taken", clip(g.UOM))}, nil
	}
	s := series{layer: l, where: where, intervals: make([]interval, 0, len(g.Values))}
	for n, v := range g.Values {
		at, ok := parseSpan(v.ValidTime)
		if !ok {
			return series{}, nil, refuse(CodeUnreadable, fmt.Sprintf("%s, value %d, validTime", where, n+1), v.ValidTime, spanWant)
		}
		if v.Value.Known {
			v.Value.V = unit.of(v.Value.V)
		}
		s.intervals = append(s.intervals, interval{at, v.Value})
	}
	return s, nil, nil
}

// bare is a JSON number or string without its quotes.
func bare(v jsontext.Value) string { return clip(strings.Trim(string(v), `"`)) }
