package sky

import (
	"context"
	"crypto/sha256"
	"encoding/json/v2"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"reflect"
	"time"

	"bydark/events"
	"bydark/services/weather"
)

// Roof is a roof whose forecast is fetched.
type Roof struct {
	Company  events.CompanyID
	Job      events.JobID
	Lat, Lon float64
}

// FetchConfig is what a Fetcher needs; all of it.
type FetchConfig struct {
	Sky *Service
	// Roofs lists the roofs that want a forecast now.
	Roofs  func(context.Context) ([]Roof, error)
	Client *http.Client
	// Base is the service's address, Agent what we call ourselves to it: the program and
	// whom to write to, as it asks.
	Base, Agent string
	Now         func() time.Time
	Log         *slog.Logger
}

// Fetcher asks the US National Weather Service for forecasts and alerts, politely: one
// request a place however many roofs stand in it, only for what changed, not more often than
// it is told, and less often while it fails. What it cannot read it does not keep: the last
// good forecast stays. Look and Run are for one goroutine.
type Fetcher struct {
	FetchConfig
	points map[string]*point
	docs   map[string]*document
	kept   map[keeping]digest
}

type digest = [sha256.Size]byte

// keeping is one address whose documents a roof keeps.
type keeping struct {
	company events.CompanyID
	job     events.JobID
	address string
}

// point is a place on the map and the address of its forecast.
type point struct {
	document
	forecast string
}

// NewFetcher makes a fetcher that has fetched nothing.
func NewFetcher(c FetchConfig) *Fetcher {
	return &Fetcher{FetchConfig: c, points: map[string]*point{}, docs: map[string]*document{}, kept: map[keeping]digest{}}
}

// tick is how often Run looks whether something is due.
const tick = time.Minute

// Run looks every minute what is due until the context ends. What fails is logged and asked
// for again later.
func (f *Fetcher) Run(ctx context.Context) error {
	t := time.NewTicker(tick)
	defer t.Stop()
	for {
		if err := f.Look(ctx); err != nil && ctx.Err() == nil {
			f.Log.Error("forecasts were not fetched", "error", err)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-t.C:
		}
	}
}

// Look fetches what is due and keeps what is new for each roof. A place that fails does not
// keep the others from being asked; the error is for what is not the weather service's.
func (f *Fetcher) Look(ctx context.Context) error {
	roofs, err := f.Roofs(ctx)
	if err != nil {
		return fmt.Errorf("list the roofs: %w", err)
	}
	wanted := map[string]bool{}
	for _, r := range roofs {
		// The service knows places to four decimals and sends those who ask for more
		// elsewhere.
		where := fmt.Sprintf("%.4f,%.4f", r.Lat, r.Lon)
		alerts := f.Base + "/alerts/active?point=" + where
		wanted[where], wanted[alerts] = true, true
		if err := f.serve(ctx, r, alerts); err != nil {
			return err
		}
		forecast := f.forecastOf(ctx, where)
		if forecast == "" {
			continue
		}
		wanted[forecast] = true
		if err := f.serve(ctx, r, forecast); err != nil {
			return err
		}
	}
	f.forget(wanted)
	return nil
}

// forget drops what no roof wants any more.
func (f *Fetcher) forget(wanted map[string]bool) {
	for where := range f.points {
		if !wanted[where] {
			delete(f.points, where)
		}
	}
	for address := range f.docs {
		if !wanted[address] {
			delete(f.docs, address)
		}
	}
	for k := range f.kept {
		if !wanted[k.address] {
			delete(f.kept, k)
		}
	}
}

// forecastOf is the address of a place's forecast; empty while it is not known.
func (f *Fetcher) forecastOf(ctx context.Context, where string) string {
	p := f.points[where]
	if p == nil {
		p = new(point)
		f.points[where] = p
	}
	address := f.Base + "/points/" + where
	if !f.refresh(ctx, address, &p.document, pointLife) {
		return p.forecast
	}
	var answer struct {
		Properties struct {
			Forecast string `json:"forecastGridData"`
		} `json:"properties"`
	}
	err := json.Unmarshal(p.body, &answer)
	if err == nil {
		err = f.ours(answer.Properties.Forecast)
	}
	if err != nil {
		f.Log.Warn("a place's forecast has no address", "place", where, "error", err)
		return p.forecast
	}
	p.forecast = answer.Properties.Forecast
	return p.forecast
}

// pointLife is how long the address of a place's forecast is good: the service redraws its
// grids now and then.
const pointLife = 24 * time.Hour

// ours refuses an address that is not the weather service's: an answer must not send us to
// another host.
func (f *Fetcher) ours(address string) error {
	got, err := url.Parse(address)
	if err != nil {
		return err
	}
	base, err := url.Parse(f.Base)
	if err != nil {
		return err
	}
	if got.Host != base.Host || got.Scheme != base.Scheme {
		return fmt.Errorf("%q is not at %s", address, f.Base)
	}
	return nil
}

// serve fetches an address if it is due and keeps its document for a roof that has not had
// it.
func (f *Fetcher) serve(ctx context.Context, r Roof, address string) error {
	d := f.docs[address]
	if d == nil {
		d = new(document)
		f.docs[address] = d
	}
	if f.refresh(ctx, address, d, 0) {
		if _, err := read(d.body); err != nil {
			f.Log.Warn("a document of the weather service cannot be read: the last good one stays", "address", address, "error", err)
			d.body = d.good
		}
		d.good = d.body
		d.digest = sha256.Sum256(d.good)
	}
	key := keeping{r.Company, r.Job, address}
	if d.good == nil || f.kept[key] == d.digest {
		return nil
	}
	fresh, err := f.isNew(ctx, r, d.good)
	if err != nil {
		return err
	}
	if fresh {
		kept, err := f.Sky.Keep(ctx, r.Company, r.Job, events.Self, events.Site{Lat: r.Lat, Lon: r.Lon}, d.good)
		switch refusal := events.RefusalIn(err); {
		case kept.Over != "":
			f.Log.Warn("a document of the weather service is over: the last good one stays", "job", r.Job, "address", address, "over", kept.Over)
		case refusal != nil:
			f.Log.Warn("a document of the weather service does not fit the roof: the last good one stays", "job", r.Job, "address", address, "error", err)
		case err != nil:
			return fmt.Errorf("keep the forecast of %s: %w", r.Job, err)
		}
	}
	f.kept[key] = d.digest
	return nil
}

// isNew tells whether the log does not hold the document as the roof's last one already, as
// after a restart.
func (f *Fetcher) isNew(ctx context.Context, r Roof, doc []byte) (bool, error) {
	now, err := read(doc)
	if err != nil {
		return false, err
	}
	known, err := f.Sky.Known(ctx, r.Company, r.Job, time.Time{})
	if err != nil {
		return false, err
	}
	if !now.IsAlerts() {
		last := known.Forecast
		return last.Sequence == 0 || last.Kind != weather.KindGridpoint || !last.Issued.Equal(now.Issued), nil
	}
	last := known.Alerts
	if last.Sequence == 0 {
		return len(now.Alerts) > 0, nil // no alerts, and none were told of
	}
	return !reflect.DeepEqual(now.Alerts, last.Alerts), nil
}
