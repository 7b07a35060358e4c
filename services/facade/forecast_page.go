package facade

import (
	"bytes"
	"encoding/json/v2"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"bydark/events"
	"bydark/services/access"
	"bydark/services/sky"
	"bydark/services/weather"
)

// manualHours is how far what a lead sees coming is written: over the night and the next day.
const manualHours = 36

// forecastSheet is the page on which a forecast is given: as a document, or as what the lead sees coming.
type forecastSheet struct {
	Values  map[string][]string
	Points  []choice
	Problem *problem
	Over    string // when all of what was given had ended
}

// compass are the directions that the wind comes from, in degrees.
var compass = []choice{
	{"0", "north"}, {"45", "north-east"}, {"90", "east"}, {"135", "south-east"}, {"180", "south"}, {"225", "south-west"}, {"270", "west"}, {"315", "north-west"},
}

func (s *Server) forecastPage(w http.ResponseWriter, r *http.Request, who access.Person) error {
	return s.showForecast(w, r, who, forecastSheet{})
}

func (s *Server) showForecast(w http.ResponseWriter, r *http.Request, who access.Person, sheet forecastSheet) error {
	page, _, err := s.roofSheet(r.Context(), r, who, "tonight", "Forecast")
	if err != nil {
		return err
	}
	sheet.Points, page.Body = compass, sheet
	if sheet.Problem != nil {
		w.WriteHeader(sheet.Problem.Status)
	}
	return s.show(w, "forecast.html", page)
}

// sendForecast keeps what the page sends: the document if there is one, else what was filled in.
func (s *Server) sendForecast(w http.ResponseWriter, r *http.Request, who access.Person) error {
	job, err := s.jobOf(r.Context(), who, r.PathValue("job"))
	if err != nil {
		return err
	}
	site, err := s.siteOf(r.Context(), who, job)
	if err != nil {
		return err
	}
	zone, err := s.almanac.zone(site.Zone)
	if err != nil {
		return err
	}
	sent, err := receiveForm(w, r, mostBody)
	if err != nil {
		return err
	}
	doc := bytes.Join(sent.files["document"], nil)
	if len(doc) == 0 {
		doc, err = seenComing(sent.values.Get, zone, s.Now())
	}
	var kept sky.Kept
	if err == nil {
		kept, err = s.Sky.Keep(r.Context(), who.Company, job, who.ID, site, doc)
	}
	if refusal := refusalIn(err); refusal != nil {
		return s.showForecast(w, r, who, forecastSheet{Values: sent.values, Problem: refused(refusal)})
	}
	if err != nil {
		return err
	}
	if kept.Over != "" {
		return s.showForecast(w, r, who, forecastSheet{Over: kept.Over})
	}
	http.Redirect(w, r, "/jobs/"+string(job)+"/tonight", http.StatusSeeOther)
	return nil
}

// seenComing writes what a lead sees coming as a forecast of our own: rain of so many inches an hour from one time to another and none
// besides, wind and gusts in miles an hour throughout. What is left empty is not known; rain is, so a sky that is trusted must be said.
func seenComing(value func(string) string, zone *time.Location, now time.Time) ([]byte, error) {
	type hour struct {
		Time        time.Time `json:"time"`
		RainMM      *float64  `json:"rain_mm"`
		ChancePct   *float64  `json:"chance_pct"`
		WindMS      *float64  `json:"wind_ms"`
		GustMS      *float64  `json:"gust_ms"`
		WindFromDeg *float64  `json:"wind_from_deg"`
	}
	const mmPerInch = 25.4
	var failed error
	number := func(name string, factor, most float64) *float64 {
		text := strings.TrimSpace(value(name))
		if text == "" || failed != nil {
			return nil
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(n) || n < 0 || n > most {
			failed = &events.Refusal{Code: "unreadable-value", Where: "/" + name, Was: clip(text), Want: fmt.Sprintf("a number from 0 to %g", most)}
			return nil
		}
		n *= factor
		return &n
	}
	clock := func(name string) time.Time {
		text := strings.TrimSpace(value(name))
		if text == "" || failed != nil {
			return time.Time{}
		}
		t, err := time.Parse(time.RFC3339, clockOf(text, zone, now.In(zone).Format(time.DateOnly)))
		if err != nil {
			failed = &events.Refusal{Code: "unreadable-time", Where: "/" + name, Was: clip(text), Want: "a day and a time, such as 2026-05-04 16:30"}
		}
		return t
	}
	rain, chance := number("rain", mmPerInch, 10), number("chance", 1, 100)
	wind, gust, from := number("wind", weather.MSPerMPH, 200), number("gust", weather.MSPerMPH, 250), number("wind_from", 1, 360)
	begins, ends := clock("rain_from"), clock("rain_to")
	if failed != nil {
		return nil, failed
	}
	if rain != nil && *rain > 0 && (begins.IsZero() || !ends.After(begins)) {
		return nil, &events.Refusal{Code: "unreadable-time", Where: "/rain_to", Was: clip(value("rain_to")), Want: "when the rain begins, and a later time when it ends"}
	}
	if rain == nil {
		return nil, &events.Refusal{Code: "empty", Where: "/rain", Want: "inches of rain an hour; 0 for a dry night"}
	}
	first, none := now.Truncate(time.Hour), 0.0
	doc := struct {
		Issued time.Time `json:"issued"`
		Place  string    `json:"place"`
		Hours  []hour    `json:"hours"`
	}{Issued: now.UTC().Truncate(time.Second), Place: "as seen from the roof"}
	for n := range manualHours {
		h := hour{Time: first.Add(time.Duration(n) * time.Hour).UTC(), RainMM: &none, ChancePct: &none, WindMS: wind, GustMS: gust, WindFromDeg: from}
		if *rain > 0 && h.Time.Before(ends) && h.Time.Add(time.Hour).After(begins) {
			h.RainMM, h.ChancePct = rain, chance
		}
		doc.Hours = append(doc.Hours, h)
	}
	return json.Marshal(doc, json.Deterministic(true))
}
