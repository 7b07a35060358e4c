package facade

import (
	"context"
	"encoding/json/v2"
	"errors"
	"fmt"
	"net/http"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/cutplan"
	"bydark/services/photos"
	"bydark/services/roofjob"
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
}

// setForecast takes a document as weather.Read does: JSON of the weather service or our
// own, or CSV.
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
	kept, err := s.Sky.Keep(r.Context(), who.Company, job, who.ID, data)
	if err != nil {
		return err
	}
	return s.sendJSON(w, r, http.StatusOK, keptForecast{kept.Forecast, kept.Sequence})
}

func (s *Server) assemblySchema(w http.ResponseWriter, r *http.Request, _ access.Person) error {
	w.Header().Set("Content-Type", "application/schema+json")
	_, err := w.Write(assembly.Schema())
	s.sent(r, err)
	return nil
}

// cutPlans are the plans of a job, one a material that comes in lengths.
type cutPlans struct {
	Job   string    `json:"job"`
	Plans []cutDone `json:"plans"`
}

type cutDone struct {
	Material events.MaterialID `json:"material"`
	Plan     *cutplan.Answer   `json:"plan"`
}

// cutplan lays the trim still to be fixed, edge by edge, into stock lengths.
func (s *Server) cutplan(ctx context.Context, who access.Person, in *ViewIn) (cutPlans, error) {
	state, err := s.stateOf(ctx, who, *in)
	if err != nil {
		return cutPlans{}, err
	}
	doc := cutPlans{Job: in.Job, Plans: []cutDone{}}
	for _, m := range state.Assembly().Materials {
		request, ok, err := cutRequest(state, &m)
		if err != nil {
			return cutPlans{}, err
		}
		if !ok {
			continue
		}
		answer, err := cutplan.Plan(ctx, request)
		if err != nil {
			return cutPlans{}, fmt.Errorf("plan the cuts of %s: %w", m.ID, err)
		}
		doc.Plans = append(doc.Plans, cutDone{m.ID, answer})
	}
	return doc, nil
}

// cutRequest asks for the pieces of one material; false when none is left to cut.
func cutRequest(state *roofjob.State, m *assembly.Material) (cutplan.Request, bool, error) {
	stock := m.Pack.Holds.Length()
	if m.Unit != assembly.UnitLength || stock <= 0 || m.ID == state.Assembly().Panel.Material {
		return cutplan.Request{}, false, nil
	}
	type piece struct {
		Mark   string          `json:"mark"`
		Length quantity.Length `json:"length"`
		Count  int64           `json:"count"`
	}
	var pieces []piece
	for _, d := range state.Estimate().Demands {
		if d.Material != m.ID || d.Net.Length() <= 0 {
			continue
		}
		whole := int64(d.Net.Length() / stock)
		if whole > 0 {
			pieces = append(pieces, piece{string(d.Place) + "/" + string(d.Step), stock, whole})
		}
		if rest := d.Net.Length() % stock; rest > 0 {
			pieces = append(pieces, piece{string(d.Place) + "/" + string(d.Step) + "/end", rest, 1})
		}
	}
	if len(pieces) == 0 {
		return cutplan.Request{}, false, nil
	}
	doc, err := json.Marshal(map[string]any{"stock": []map[string]any{{"length": stock}}, "pieces": pieces}, json.Deterministic(true))
	if err != nil {
		return cutplan.Request{}, false, fmt.Errorf("write the pieces of %s: %w", m.ID, err)
	}
	request, err := cutplan.Read(doc)
	return request, err == nil, err
}
