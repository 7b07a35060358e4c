package events

import "encoding/json/jsontext"

// ForecastGiven is a forecast for a job's site, as it came: a document of a weather
// service or what somebody wrote down. The latest one counts.
type ForecastGiven struct {
	// Document is a JSON document, or another one as a JSON string.
	Document jsontext.Value `json:"document"`
}

func (ForecastGiven) fact() {}
