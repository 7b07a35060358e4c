package weather

import (
	"encoding/json/jsontext"
	"time"
)

// Reading is one value that a document may lack: known or not. The zero value is not
// known, and prints as null.
type Reading struct {
	V     float64
	Known bool
}

// Known is a reading of v.
func Known(v float64) Reading { return Reading{V: v, Known: true} }

// Or is the reading, or otherwise where it is not known.
func (r Reading) Or(otherwise float64) float64 {
	if r.Known {
		return r.V
	}
	return otherwise
}

// MarshalJSONTo writes the number, or null.
func (r Reading) MarshalJSONTo(e *jsontext.Encoder) error {
	if !r.Known {
		return e.WriteToken(jsontext.Null)
	}
	return e.WriteToken(jsontext.Float(r.V))
}

// UnmarshalJSONFrom reads a number or null; anything else, and a number that no float
// holds, is an error.
func (r *Reading) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	token, err := d.ReadToken()
	if err != nil {
		return err
	}
	switch token.Kind() {
	case 'n':
		*r = Reading{}
		return nil
	case '0':
		if v, err := token.Float(); err == nil {
			*r = Known(v)
			return nil
		}
	}
	return refuse(CodeUnreadable, string(d.StackPointer()), token.String(), "a number or null")
}

// Hour is the sky over one hour from Time on. Amounts (rain, snow, ice) are of the
// hour, everything else is the level that holds over it.
type Hour struct {
	Time        time.Time `json:"time"`
	RainMM      Reading   `json:"rain_mm"` // liquid, melted snow included
	ChancePct   Reading   `json:"chance_pct"`
	WindMS      Reading   `json:"wind_ms"`
	GustMS      Reading   `json:"gust_ms"`
	WindFromDeg Reading   `json:"wind_from_deg"`
	TempC       Reading   `json:"temp_c"`
	DewC        Reading   `json:"dew_c"`
	RHPct       Reading   `json:"rh_pct"`
	SnowMM      Reading   `json:"snow_mm"`
	IceMM       Reading   `json:"ice_mm"`
	ThunderPct  Reading   `json:"thunder_pct"`
	SkyPct      Reading   `json:"sky_pct"`
}

// Note tells what in a document was not taken over, or is doubtful, and where.
type Note struct {
	Code  string `json:"code"`
	Where string `json:"where"`
	Text  string `json:"text"`
}

// Codes of notes.
const (
	NoteGap       = "gap"       // hours that no interval covers: null
	NoteOverlap   = "overlap"   // hours that two intervals claim: null
	NoteAbsurd    = "absurd"    // a value that no weather has: null
	NoteUnit      = "unit"      // a unit that is not known: the whole layer null
	NoteIssued    = "issued"    // the document's own date does not fit its hours
	NoteNotLevel  = "not-level" // a day's high or low, not the temperature of its hours
	NoteMayBeCut  = "may-be-cut"
	NoteNotGiven  = "not-given" // a layer that this document does not have
	NotePlace     = "place"     // the document's outline stands for no place
	NoteDirection = "direction" // a wind direction that is no point of the compass
)

// Forecast is a document, hour by hour in UTC without a hole: hours that it says nothing
// about stand there with every reading unknown.
type Forecast struct {
	Kind   string    `json:"kind"` // one of the Kind constants
	Issued time.Time `json:"issued,omitzero"`
	Place  string    `json:"place"`
	// Outline is where it is for, as far as the document says it.
	Outline Outline `json:"outline,omitempty"`
	Hours   []Hour  `json:"hours"`
	Told    []Note  `json:"told"`
}

// Kinds of documents.
const (
	KindGridpoint   = "nws-gridpoint"
	KindHourly      = "nws-hourly"
	KindPeriods     = "nws-periods" // the forecast in half days
	KindCSV         = "csv"
	KindOwn         = "bydark" // our own JSON, as this package prints it
	KindAlerts      = "nws-alerts"
	KindObservation = "nws-observation"
)

// Most that is read: the longest recorded forecast has 8 days and 180 intervals a layer.
const (
	maxDocument  = 2 << 20
	maxIntervals = 800
	maxHours     = 31 * 24
)

// At gives the hour in which t lies, and false where the forecast does not reach.
func (f Forecast) At(t time.Time) (Hour, bool) {
	if len(f.Hours) == 0 || t.Before(f.Hours[0].Time) {
		return Hour{}, false
	}
	i := int(t.Sub(f.Hours[0].Time) / time.Hour)
	if i >= len(f.Hours) {
		return Hour{}, false
	}
	return f.Hours[i], true
}
