package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/projections"
	"bydark/projections/board"
	"bydark/projections/checklist"
	"bydark/projections/evidence"
	"bydark/projections/exposure"
	"bydark/projections/ledger"
	"bydark/projections/punch"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/courier"
	"bydark/services/facade"
	"bydark/services/photos"
	"bydark/services/roofjob"
	"bydark/services/sky"
	"bydark/services/watch"
)

var randomness io.Reader = rand.Reader

// where says where the log and the views are.
type where struct {
	Dir string `help:"The program's directory. Not needed with --nats and --postgres." type:"path"`
	elsewhere
}

// elsewhere says which of the two are not in the directory.
type elsewhere struct {
	Nats       string   `help:"Address of an external broker, or of several with commas between; empty for the embedded one." env:"BYDARK_NATS" placeholder:"URL"`
	Creds      string   `help:"File with the broker's credentials, which nobody else may read." env:"BYDARK_CREDS" type:"path"`
	Authority  string   `help:"File with the certificate of who vouches for the broker's; empty for those that the system believes." env:"BYDARK_AUTHORITY" type:"path"`
	Monitor    []string `help:"Monitoring pages of the broker's nodes, which prove that they sync." env:"BYDARK_MONITOR"`
	System     string   `help:"Address of the broker for a user of its system account, which proves the same where those pages cannot be reached." env:"BYDARK_NATS_SYSTEM" placeholder:"URL"`
	Unverified bool     `name:"durability-unverified" help:"Use an external broker without proof that it syncs."`
	Plain      bool     `name:"plain-network" help:"Reach the broker unencrypted over a network that is private."`
	Postgres   string   `help:"PostgreSQL for the views; empty for SQLite in the directory. A password belongs in the environment, where no list of processes shows it." env:"BYDARK_POSTGRES" placeholder:"DSN"`
}

// prepared refuses a directory that nobody prepared: a misspelt one would be an empty
// log in which nothing is wrong.
func (w where) prepared() error {
	switch {
	case w.Dir == "" && (w.Nats == "" || w.Postgres == ""):
		return &badInput{errors.New("missing flags: --dir=STRING, or both --nats and --postgres")}
	case w.Nats != "":
		return nil
	}
	entries, err := os.ReadDir(w.Dir)
	if err == nil && len(entries) == 0 || errors.Is(err, os.ErrNotExist) {
		return &badInput{fmt.Errorf("%s: holds no log; want a directory that init, demo or restore made", w.Dir)}
	}
	return err
}

// options are how the log is opened.
func (w where) options(p *program) journal.Options {
	return journal.Options{
		Dir: w.Dir, URL: w.Nats, Creds: w.Creds, Authority: w.Authority, Monitor: w.Monitor, System: w.System, DurabilityUnverified: w.Unverified, PlainNetwork: w.Plain, Log: p.log,
	}
}

// emptyDir refuses a directory that holds anything, for the verbs that make a log.
func emptyDir(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case err == nil && len(entries) > 0:
		return &badInput{fmt.Errorf("%s: not empty; want an empty or new directory", dir)}
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return &badInput{err}
	}
	return nil
}

// house is the service, opened in steps and closed in reverse.
type house struct {
	dir     string // of the log; empty when it is kept elsewhere
	journal *journal.Journal
	store   *projections.Store
	people  *access.Directory
	runner  *projections.Runner[*roofjob.State]
	jobs    *roofjob.Service
	sky     *sky.Service
	// fetch fetches forecasts; nil where nobody asked for that.
	fetch   func(context.Context) error
	courier *courier.Courier // of a house that is served
	// watching looks at the roofs, in a process that reacts.
	watching *watch.Watch
	meters   *meters
	now      func() time.Time
	log      *slog.Logger
}

// views is the list of views that the runner folds.
func views() []projections.View[*roofjob.State] {
	return []projections.View[*roofjob.State]{
		board.View, ledger.Lines, ledger.Oddities, ledger.Moves, ledger.Offcuts, exposure.View, punch.View, checklist.View, evidence.View{},
	}
}

func openHouse(ctx context.Context, w where, p *program) (_ *house, err error) {
	h := &house{now: p.now, log: p.log, meters: newMeters()}
	if w.Nats == "" {
		h.dir = w.Dir
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, h.close())
		}
	}()
	if err := private(w.Creds); err != nil {
		return nil, err
	}
	h.journal, err = journal.Open(ctx, w.options(p))
	if err != nil {
		return nil, err
	}
	if w.Postgres != "" {
		h.store, err = projections.OpenPostgres(ctx, w.Postgres, p.log)
	} else {
		dir := filepath.Join(w.Dir, "views")
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return nil, fmt.Errorf("make %s: %w", dir, err)
		}
		h.store, err = projections.OpenSQLite(ctx, dir, p.log)
	}
	if err != nil {
		return nil, err
	}
	if h.people, err = access.Open(ctx, h.journal, p.random, p.now); err != nil {
		return nil, err
	}
	h.jobs, h.sky = roofjob.NewService(h.journal, h.now, h.holder), sky.New(h.journal, h.now)
	h.jobs.Log = h.log
	h.runner = projections.NewRunner(projections.Config[*roofjob.State]{
		Journal: h.journal, Stream: journal.Roof, Store: h.store, History: record.Roof(), Views: views(), Now: p.now, Log: p.log,
		Folded: h.meters.folded,
		Fold:   projections.Fold[*roofjob.State]{Version: roofjob.FoldVersion, New: newState, Apply: roofjob.Apply, ApplyAll: roofjob.ApplyAll},
	})
	h.watching = h.watch()
	return h, nil
}

func (h *house) close() error {
	var errs []error
	if h.store != nil {
		errs = append(errs, h.store.Close())
	}
	if h.journal != nil {
		errs = append(errs, h.journal.Close())
	}
	return errors.Join(errs...)
}

// door makes the facade of the house, as people reach it if they do.
func (h *house) door(f front, r roles) (*facade.Server, error) {
	return facade.New(facade.Deps{
		People: h.people, Jobs: h.jobs, Store: h.store, Runner: h.runner,
		Sky: h.sky, Photos: photos.New(h.journal), Courier: h.courier, Log: h.log, Now: h.now, Version: version(), Metrics: h.measured(),
		Public: f.Public, Hosts: f.Host, Proxies: f.Proxy, Backstage: !r.Take,
		Ready: []facade.Check{
			{Name: "log", Well: h.journal.Ready},
			{Name: "views", Well: h.viewsWell},
		},
		Subscribe: func() facade.Subscription { return h.runner.Subscribe() },
	})
}

// holder finds the job that holds a report's id. A database that does not answer keeps no report from being taken.
func (h *house) holder(ctx context.Context, company events.CompanyID, id events.ReportID) (job events.JobID) {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	err := h.store.Read(ctx, func(tx *projections.Tx) error {
		found, err := record.Roof().Holder(ctx, tx, string(company), string(id))
		job = events.JobID(found)
		return err
	})
	if err != nil {
		h.log.Warn("a report is taken without asking whether another job has its id", "id", id, "error", err)
		return ""
	}
	return job
}

// viewsWell says that the views are folded and no job stands still.
func (h *house) viewsWell(context.Context) error {
	switch s := h.runner.Status(); {
	case s.Fault != "":
		return errors.New(s.Fault)
	case !s.CaughtUp:
		return errors.New("the views are not folded yet")
	case len(s.Stopped) > 0:
		return fmt.Errorf("%d jobs stand still, the first at event %d", len(s.Stopped), s.Stopped[0].Sequence)
	}
	return nil
}

// together runs services; the first to end stops the others, and it returns when all
// have ended.
func together(ctx context.Context, services ...func(context.Context) error) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	errs := make([]error, len(services))
	var all sync.WaitGroup
	for i, run := range services {
		all.Go(func() {
			defer stop()
			if err := run(ctx); ctx.Err() == nil || !errors.Is(err, context.Canceled) {
				errs[i] = err
			}
		})
	}
	all.Wait()
	return errors.Join(errs...)
}
