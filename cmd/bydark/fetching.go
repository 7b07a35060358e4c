package main

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"bydark/events"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/services/sky"
)

// fetching says whether forecasts are fetched, and from where.
type fetching struct {
	WeatherContact string `help:"Fetch forecasts and alerts of the US National Weather Service for every roof, and give it this address to write to, as it asks. Without it nothing is fetched." env:"BYDARK_WEATHER_CONTACT" placeholder:"ADDRESS"`
	WeatherURL     string `help:"The weather service's address." env:"BYDARK_WEATHER_URL" default:"https://api.weather.gov"`
}

// run fetches until ctx ends; nil where nothing is to be fetched.
func (f fetching) run(h *house) (func(context.Context) error, error) {
	if f.WeatherContact == "" {
		return nil, nil
	}
	if strings.ContainsAny(f.WeatherContact, "\r\n") || !strings.HasPrefix(f.WeatherURL, "http") {
		return nil, &badInput{errors.New("--weather-contact: want one line; --weather-url: want an http address")}
	}
	const answerTime = 30 * time.Second
	client := &http.Client{Timeout: answerTime, CheckRedirect: func(r *http.Request, via []*http.Request) error {
		if r.URL.Host != via[0].URL.Host || len(via) > 3 {
			return http.ErrUseLastResponse
		}
		return nil
	}}
	return sky.NewFetcher(sky.FetchConfig{
		Sky: h.sky, Roofs: h.roofs, Client: client, Base: strings.TrimSuffix(f.WeatherURL, "/"),
		Agent: "bydark/" + version() + " (" + f.WeatherContact + ")", Now: h.now, Log: h.log,
	}).Run, nil
}

// roofs are the roofs of every company that are not closed.
func (h *house) roofs(ctx context.Context) ([]sky.Roof, error) {
	var all []sky.Roof
	err := h.store.Read(ctx, func(tx *projections.Tx) error {
		for _, company := range h.people.Companies() {
			rows, err := board.View.All(ctx, tx, string(company))
			if err != nil {
				return err
			}
			for _, row := range rows {
				if row.Closed.IsZero() {
					all = append(all, sky.Roof{Company: events.CompanyID(company), Job: row.Job, Lat: row.Site.Lat, Lon: row.Site.Lon})
				}
			}
		}
		return nil
	})
	return all, err
}
