package events

import "encoding/json/jsontext"

// ForecastGiven is a forecast for a job's site, or the alerts in force there, as it came: a
// document of a weather service or what somebody wrote down. The latest of each counts.
type ForecastGiven struct {
	// Document is a JSON document, or another one as a JSON string.
	Document jsontext.Value `json:"document"`
}

func (ForecastGiven) fact() {}
