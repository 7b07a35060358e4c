// Package night reckons what the coming night does to a roof as it stands: the water that
// enters each plane and edge, the wind on what is loose, sun, dew and frost; and from that
// what to close before dark, and how much may be opened tomorrow.
//
// A roof's stand (Stands) is made once from its state and is plain data; a forecast is laid
// over it later (Reckon), for one roof or for two hundred. The package is pure: time, sky
// and state come in as arguments. Its figures rank places and say what they are made of;
// they forecast no leak, and no wind figure here is a check of capacity.
package night

import (
	"time"

	"bydark/events"
	"bydark/services/weather"
)

// Told is a forecast as it was last heard. The zero value is none.
type Told struct {
	weather.Forecast
	// Recorded is when it came to us; zero when there is none.
	Recorded time.Time
	// Alerts are the weather service's, as last heard.
	Alerts []weather.Alert
}

// Given tells whether there is a forecast at all.
func (t Told) Given() bool { return !t.Recorded.IsZero() }

// Night is what a night brings to a roof.
type Night struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	// Assumes says in words what the figures rest on.
	Assumes string `json:"assumes"`
	// Forecast tells which forecast was used; absent when there is none.
	Forecast *Heard `json:"forecast,omitempty"`
	// UnknownHours are hours whose rain nobody forecast: rain is assumed in them.
	UnknownHours int     `json:"unknown_hours"`
	RainMM       float64 `json:"rain_mm"` // forecast and assumed
	ChancePct    float64 `json:"chance_pct"`
	Water        Water   `json:"water"`
	// Worst is the hour in which the most water is expected, or would enter if it rains
	// where none is expected; zero when nothing is open.
	Worst    time.Time `json:"worst_hour,omitzero"`
	WorstL   float64   `json:"worst_hour_l"`
	Hours    []Hour    `json:"hours"`
	Places   []Place   `json:"places"`
	GustMPH  float64   `json:"gust_mph"` // the strongest forecast; zero when none is
	GustTime time.Time `json:"gust_time,omitzero"`
}

// Heard is which forecast was used, and how old it was when it was used.
type Heard struct {
	Kind     string    `json:"kind"`
	Place    string    `json:"place"`
	Issued   time.Time `json:"issued,omitzero"`
	Recorded time.Time `json:"recorded"`
	AgeMin   int       `json:"age_min"`
}

// Water is what enters, in litres and US gallons: Expected by the amounts forecast, IfRain
// should it rain at all.
type Water struct {
	ExpectedL   float64 `json:"expected_l"`
	ExpectedGal float64 `json:"expected_gal"`
	IfRainL     float64 `json:"if_rain_l"`
	IfRainGal   float64 `json:"if_rain_gal"`
}

func waterOf(expected, ifRain float64) Water {
	return Water{expected, weather.Gallons(expected), ifRain, weather.Gallons(ifRain)}
}

// Hour is what enters in one hour.
type Hour struct {
	Time      time.Time `json:"time"`
	ExpectedL float64   `json:"expected_l"`
	IfRainL   float64   `json:"if_rain_l"`
	// Assumed tells that nobody forecast the rain of the hour, and rain is assumed.
	Assumed bool `json:"assumed,omitempty"`
}

// Place is what the night brings to one plane or edge.
type Place struct {
	Where events.Place `json:"where"`
	Kind  string       `json:"kind"`
	State string       `json:"state"`
	Water Water        `json:"water"`
	// Expected and IfRain are the same by the way in.
	Expected weather.Litres `json:"expected"`
	IfRain   weather.Litres `json:"if_rain"`
	// WeightL is what a plan reckons with: what is expected, but not less than a tenth of
	// what a wet night would bring, since a dry forecast may err (house default).
	WeightL float64   `json:"weight_l"`
	Worst   time.Time `json:"worst_hour,omitzero"`
	WorstL  float64   `json:"worst_hour_l"`
	Hours   []Hour    `json:"hours,omitempty"`
	Reasons []Reason  `json:"reasons"`
}

// Reason is one thing that the night does to a place, in a sentence with its numbers, and
// the step that ends it.
type Reason struct {
	Code string `json:"code"` // rain, wind, sun, dew or frost
	Text string `json:"text"`
	// EndsWith is the step that ends it; empty where none does.
	EndsWith events.StepID `json:"ends_with,omitempty"`
	// Rule names the formula or rule behind the numbers.
	Rule string `json:"rule"`
}
