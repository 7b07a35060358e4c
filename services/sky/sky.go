// Package sky keeps the forecasts and alerts of a job's site in the log's sky stream, so
// that it can be told what was known when.
package sky

import (
	"context"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"sync"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/weather"

	"github.com/google/uuid"
)

// Service keeps forecasts; several goroutines may use it. It remembers the last of each
// job and reads from the log only what came since.
type Service struct {
	log *journal.Journal
	now func() time.Time

	mu   sync.Mutex // guards what follows
	jobs map[string]*page
	ends ends
}

// New keeps forecasts in a log.
func New(log *journal.Journal, now func() time.Time) *Service {
	return &Service{log: log, now: now, jobs: map[string]*page{}}
}

// Kept is a document and where it stands in the log: a forecast, or alerts.
type Kept struct {
	weather.Forecast
	// Alerts are those of a document of alerts, which may hold none; nil for a forecast.
	Alerts   []weather.Alert
	Sequence uint64
	Recorded time.Time
	// Over says when all of it ended, if that was before it came: it is kept for whoever asks
	// what was, and takes the place of no other that reached further.
	Over string
}

// IsAlerts tells whether the document is of alerts and no forecast.
func (k Kept) IsAlerts() bool { return k.Alerts != nil }

const mostTries = 20

// Keep reads a document and keeps it: a forecast as weather.Read takes it, or a collection
// of the weather service's alerts. What cannot be read is refused by weather.Read or
// weather.ReadAlerts, and so is what is for another place than the site; the last good one
// stays. It stays as well when the document is over, which Kept.Over tells.
func (s *Service) Keep(ctx context.Context, company events.CompanyID, job events.JobID, by events.PersonID, site events.Site, doc []byte) (Kept, error) {
	kept, err := read(doc)
	if err == nil {
		kept.Over = kept.over(s.now())
		err = kept.fits(site)
	}
	if err != nil {
		return Kept{}, err
	}
	body := events.ForecastGiven{Document: jsontext.Value(doc)}
	if !body.Document.IsValid() {
		if body.Document, err = json.Marshal(string(doc)); err != nil {
			return Kept{}, fmt.Errorf("write a forecast: %w", err)
		}
	}
	data, err := events.Encode(body)
	if err != nil {
		return Kept{}, err
	}
	subject, err := journal.SkySubject(string(company), string(job))
	if err != nil {
		return Kept{}, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return Kept{}, fmt.Errorf("make an event's id: %w", err)
	}
	now := s.now()
	entry := journal.Entry{
		ID: id.String(), Type: (events.Event{Body: body}).Type(), Source: "bydark/" + string(company), About: string(job),
		Time: now, Recorded: now, By: string(by), Data: data,
	}
	p := s.page(subject)
	p.mu.Lock()
	defer p.mu.Unlock()
	for try := 0; ; try++ {
		ours, err := p.catchUp(ctx, s.log, subject, entry.ID)
		if err != nil {
			return Kept{}, err
		}
		if ours != nil {
			kept.Sequence, kept.Recorded = ours.Sequence, ours.Recorded
			return kept, nil
		}
		end, err := s.log.Append(ctx, subject, p.tail, entry)
		if err == nil {
			kept.Sequence, kept.Recorded = end.Sequence, end.Recorded
			p.take(kept)
			p.tail = end
			s.wrote(end.Sequence)
			return kept, nil
		}
		if try == mostTries || !errors.Is(err, journal.ErrConflict) && !errors.Is(err, journal.ErrUnknown) {
			return Kept{}, fmt.Errorf("keep a forecast in %s: %w", subject, err)
		}
	}
}

// read reads a forecast or alerts.
func read(doc []byte) (Kept, error) {
	if weather.Sniff(doc) == weather.KindAlerts {
		alerts, err := weather.ReadAlerts(doc)
		return Kept{Forecast: weather.Forecast{Kind: weather.KindAlerts}, Alerts: alerts}, err
	}
	forecast, err := weather.Read(doc)
	return Kept{Forecast: forecast}, err
}

// fits refuses what is for another place than a site. What was kept before is read without it.
func (k Kept) fits(site events.Site) error {
	if k.IsAlerts() {
		return weather.CheckAlerts(k.Alerts, site.Lat, site.Lon)
	}
	return k.Near(site.Lat, site.Lon)
}

// over says when all of it ended, if that was before now.
func (k Kept) over(now time.Time) string {
	reach := k.Reaches
	if k.IsAlerts() {
		reach = func(now time.Time) error { return weather.AlertsReach(k.Alerts, now) }
	}
	if r := events.RefusalIn(reach(now)); r != nil {
		return r.Was
	}
	return ""
}

// Known are the last forecast and the last alerts that were known at a time, now when it
// is zero.
func (s *Service) Known(ctx context.Context, company events.CompanyID, job events.JobID, at time.Time) (Known, error) {
	subject, err := journal.SkySubject(string(company), string(job))
	if err != nil {
		return Known{}, err
	}
	p := s.page(subject)
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.look(ctx, s.log, subject); err != nil {
		return Known{}, err
	}
	if at.IsZero() || !p.Forecast.Recorded.After(at) && !p.Alerts.Recorded.After(at) {
		return p.Known, nil
	}
	entries, err := s.log.Load(ctx, subject, 0)
	if err != nil {
		return Known{}, fmt.Errorf("load %s: %w", subject, err)
	}
	var then Known
	err = then.add(subject, entries, at)
	return then, err
}

// Recent is what was known a moment ago: as Known now, but what another process keeps may be
// missing for some seconds. For lists of many roofs.
func (s *Service) Recent(ctx context.Context, company events.CompanyID, job events.JobID) (Known, error) {
	subject, err := journal.SkySubject(string(company), string(job))
	if err != nil {
		return Known{}, err
	}
	foreign, err := s.foreign(ctx)
	if err != nil {
		return Known{}, err
	}
	p := s.page(subject)
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.looked && p.upTo >= foreign {
		return p.Known, nil
	}
	if err := p.look(ctx, s.log, subject); err != nil {
		return Known{}, err
	}
	p.upTo = foreign
	return p.Known, nil
}
