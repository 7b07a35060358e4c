// Package watch looks at every roof's coming night and says what is to be said: it
// warns, takes warnings back, and goes up one role when dark has come and something is
// open that nobody accepted. What it says are events of the job, so that the record
// shows who was told what and when.
//
// Decide and DecideShort are pure. Watch asks the plan for the outlook and appends what
// they decide; several processes may watch one log, since each warning is decided on
// all that the log holds.
package watch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/ledger"
	"bydark/services/access"
	"bydark/services/roofjob"
	"bydark/services/sky"
)

// Config is what a Watch stands on; all of it is needed.
type Config struct {
	Journal *journal.Journal
	Jobs    *roofjob.Service
	People  *access.Directory
	Store   *projections.Store
	Sky     *sky.Service
	Rules   Rules
	Now     func() time.Time
	Log     *slog.Logger
}

// Watch watches the roofs of all companies. Run is to be called once; Look by anybody.
type Watch struct {
	Config

	mu     sync.Mutex // guards what follows
	looked map[place]look
	sky    map[place]uint64

	figures Figures
}

// place names a job of a company.
type place struct {
	company events.CompanyID
	job     events.JobID
}

// look is what was looked at last: while nothing of it changes, and again has not come,
// there is nothing new to decide.
type look struct {
	event, forecast uint64
	again           time.Time
	day             string
}

// New makes a watch that has looked at nothing yet.
func New(c Config) *Watch {
	return &Watch{Config: c, looked: map[place]look{}, sky: map[place]uint64{}}
}

// Every is how often Run looks.
const Every = time.Minute

// Run looks at all roofs every minute, and follows the forecasts so that a new one is
// looked at. The first look is a minute after the start, when views are folded.
func (w *Watch) Run(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	followed := make(chan error, 1)
	go func() { followed <- w.follow(ctx) }()
	ticks := time.NewTicker(Every)
	defer ticks.Stop()
	for {
		select {
		case err := <-followed:
			stop()
			return err
		case <-ticks.C:
			if err := w.Look(ctx); err != nil && ctx.Err() == nil {
				w.Log.Warn("roofs could not all be looked at", "error", err)
			}
		case <-ctx.Done():
			stop()
			return <-followed
		}
	}
}

// follow notes the forecasts that come.
func (w *Watch) follow(ctx context.Context) error {
	end, err := w.Journal.End(ctx, journal.Sky)
	if err != nil {
		return fmt.Errorf("watch the forecasts: %w", err)
	}
	err = w.Journal.Follow(ctx, journal.Sky, end, func(entries []journal.Entry, _ bool) error {
		w.mu.Lock()
		defer w.mu.Unlock()
		for _, e := range entries {
			if p, ok := placeOf(e.Subject); ok {
				w.sky[p] = e.Sequence
			}
		}
		return nil
	})
	if ctx.Err() != nil {
		return nil //nolint:nilerr // it was told to stop, and the follower's error is that
	}
	return fmt.Errorf("watch the forecasts: %w", err)
}

// Look looks at every job once and tells what is to be told now. A job that fails does
// not keep the others from being looked at.
func (w *Watch) Look(ctx context.Context) error {
	err := w.look(ctx)
	if ctx.Err() == nil {
		w.lookedAll(err)
	}
	return err
}

func (w *Watch) look(ctx context.Context) error {
	var errs []error
	for _, company := range w.People.Companies() {
		var rows []board.Row
		err := w.Store.Read(ctx, func(tx *projections.Tx) (err error) {
			rows, err = board.View.All(ctx, tx, string(company))
			return err
		})
		if err != nil {
			return fmt.Errorf("read the board of %s: %w", company, err)
		}
		for _, row := range rows {
			if err := w.job(ctx, company, row); err != nil {
				errs = append(errs, fmt.Errorf("look at job %s of %s: %w", row.Job, company, err))
			}
		}
	}
	return errors.Join(errs...)
}

// job looks at one job unless nothing changed since the last look.
func (w *Watch) job(ctx context.Context, company events.CompanyID, row board.Row) error {
	if !row.Closed.IsZero() {
		return nil
	}
	zone, err := time.LoadLocation(row.Site.Zone)
	if err != nil {
		return err
	}
	now := w.Now()
	key := place{company, row.Job}
	w.mu.Lock()
	was, seen := w.looked[key]
	next := look{event: row.LatestEvent, forecast: w.sky[key], day: now.In(zone).Format("2006-01-02 15")}
	w.mu.Unlock()
	if seen && was.event == next.event && was.forecast == next.forecast && was.day == next.day && (was.again.IsZero() || now.Before(was.again)) {
		return nil
	}
	heard, err := w.Sky.Known(ctx, company, row.Job, time.Time{})
	if err != nil {
		return err
	}
	lines, err := w.ledger(ctx, company, row.Job)
	if err != nil {
		return err
	}
	stock := map[string]int64{}
	for _, l := range lines {
		stock[string(l.Material)] = roofjob.Smallest(l.OnHand)
	}
	err = w.say(ctx, company, row.Job, now, func(s *roofjob.State) (events.Body, error) {
		o, err := outlookOf(s, heard, stock, now)
		if err != nil {
			return nil, err
		}
		d := Decide(w.Rules, o, standing(s, o), now)
		next.again = d.Again
		switch {
		case d.Warn != nil:
			d.Warn.Told = w.people(company, d.Warn.Told)
			return *d.Warn, nil
		case d.Clear != nil:
			d.Clear.Told = w.people(company, d.Clear.Told)
			return *d.Clear, nil
		}
		return nil, nil
	})
	if err == nil {
		err = w.short(ctx, company, row, lines, zone, now)
	}
	if err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.looked[key] = next
	return nil
}

// standing is what a job's state says of a night.
func standing(s *roofjob.State, o Outlook) Standing {
	st := Standing{Warnings: s.Warnings()}
	if day, began := s.Day(); day != nil && o.LeaveBy.Sub(began) < 24*time.Hour {
		st.Crew = true
	}
	if left := s.LeftOpen(); left != nil && left.AcceptedBy != "" {
		st.Accepted, st.By, st.AcceptedAt = left.Open, left.AcceptedBy, left.At
	}
	return st
}

// ledger is what the views say of a job's material.
func (w *Watch) ledger(ctx context.Context, company events.CompanyID, job events.JobID) (lines []ledger.Line, err error) {
	err = w.Store.Read(ctx, func(tx *projections.Tx) error {
		if lines, err = ledger.Lines.Of(ctx, tx, string(company), string(job)); err != nil {
			return err
		}
		moves, err := ledger.Moves.All(ctx, tx, string(company))
		if err != nil {
			return err
		}
		lines, err = ledger.With(lines, moves, job)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the ledger: %w", err)
	}
	return lines, nil
}

// short tells shortages.
func (w *Watch) short(ctx context.Context, company events.CompanyID, row board.Row, lines []ledger.Line, zone *time.Location, now time.Time) error {
	short := Shortages{Zone: zone, Start: row.Start, Supply: ledger.SupplyOf(lines)}
	return w.say(ctx, company, row.Job, now, func(s *roofjob.State) (events.Body, error) {
		short.Warnings = s.Warnings()
		warned := DecideShort(short, now)
		if warned == nil {
			return nil, nil
		}
		warned.Told = w.people(company, warned.Told)
		return *warned, nil
	})
}

// say appends what is decided on a job's state, if it is anything, and counts it.
func (w *Watch) say(ctx context.Context, company events.CompanyID, job events.JobID, at time.Time, decide func(*roofjob.State) (events.Body, error)) error {
	var last events.Body
	_, said, err := w.Jobs.Warn(ctx, company, job, at, func(s *roofjob.State) (body events.Body, err error) {
		body, err = decide(s)
		last = body
		return body, err
	})
	if said {
		w.told(last)
	}
	return err
}

// people fills in who holds the roles now.
func (w *Watch) people(company events.CompanyID, told []events.Told) []events.Told {
	held := map[events.Role][]events.PersonID{}
	for _, p := range w.People.People(company) {
		held[p.Role] = append(held[p.Role], p.ID)
	}
	return reached(told, held)
}

// placeOf reads the job out of a subject of the log.
func placeOf(subject string) (place, bool) {
	parts := strings.Split(subject, ".")
	if len(parts) != 3 {
		return place{}, false
	}
	return place{events.CompanyID(parts[1]), events.JobID(parts[2])}, true
}
