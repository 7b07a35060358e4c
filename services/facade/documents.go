package facade

import (
	"encoding/json/v2"
	"errors"
	"fmt"
	"net/http"

	"bydark/events"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/photos"
	"bydark/services/weather"
)

type keptPhoto struct {
	Photo events.PhotoDigest `json:"photo"`
}

func (s *Server) addPhoto(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	kind := r.Header.Get("Content-Type")
	if kind != "image/png" {
		kind = "image/jpeg"
	}
	data, err := receive(w, r, kind, photos.MostBytes)
	if err != nil {
		return err
	}
	digest, err := s.Photos.Keep(r.Context(), data)
	if err != nil {
		return err
	}
	return s.sendJSON(w, r, http.StatusCreated, keptPhoto{digest})
}

func (s *Server) photo(w http.ResponseWriter, r *http.Request, who access.Person) error {
	digest := events.PhotoDigest(r.PathValue("digest"))
	named, err := s.photoNamed(r.Context(), who.Company, digest)
	if err != nil {
		return err
	}
	if !named {
		return access.ErrNotFound
	}
	data, err := s.Photos.Picture(r.Context(), digest)
	if errors.Is(err, photos.ErrNotFound) {
		return access.ErrNotFound
	}
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "image/jpeg")
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'")
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	_, err = w.Write(data)
	s.sent(r, err)
	return nil
}

func (s *Server) sendJSON(w http.ResponseWriter, r *http.Request, status int, doc any) error {
	answer := held{header: http.Header{"Content-Type": {"application/json"}}, status: status}
	if err := json.MarshalWrite(&answer.body, doc, json.Deterministic(true)); err != nil {
		return fmt.Errorf("write an answer: %w", err)
	}
	s.sent(r, answer.send(w))
	return nil
}

type keptForecast struct {
	weather.Forecast
	Sequence uint64 `json:"sequence"`
	Over     string `json:"over,omitempty" doc:"when all of it had ended, if that was before it came; the last one that reaches further stays in force"`
}

type keptAlerts struct {
	Alerts   []weather.Alert `json:"alerts"`
	Sequence uint64          `json:"sequence"`
	Over     string          `json:"over,omitempty" doc:"when all of them had ended, if that was before they came"`
}

// setForecast takes a document as weather.Read does: JSON of the weather service or our
// own, or CSV; or the service's alerts.
func (s *Server) setForecast(w http.ResponseWriter, r *http.Request, who access.Person) error {
	job, err := s.jobOf(r.Context(), who, r.PathValue("job"))
	if err != nil {
		return err
	}
	kind := "application/json"
	if r.Header.Get("Content-Type") == "text/csv" {
		kind = "text/csv"
	}
	const mostForecast = 850 << 10
	data, err := receive(w, r, kind, mostForecast)
	if err != nil {
		return err
	}
	site, err := s.siteOf(r.Context(), who, job)
	if err != nil {
		return err
	}
	kept, err := s.Sky.Keep(r.Context(), who.Company, job, who.ID, site, data)
	if err != nil {
		return err
	}
	if kept.IsAlerts() {
		return s.sendJSON(w, r, http.StatusOK, keptAlerts{kept.Alerts, kept.Sequence, kept.Over})
	}
	return s.sendJSON(w, r, http.StatusOK, keptForecast{kept.Forecast, kept.Sequence, kept.Over})
}

func (s *Server) assemblySchema(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	w.Header().Set("Content-Type", "application/schema+json")
	_, err := w.Write(assembly.Schema())
	s.sent(r, err)
	return nil
}
