package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"time"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
	"bydark/services/roofjob"

	"golang.org/x/net/netutil"
	"golang.org/x/sys/unix"
)

func newState(company, job string) *roofjob.State {
	return roofjob.New(events.CompanyID(company), events.JobID(job))
}

type initVerb struct {
	where
	Company string `help:"The company's name." required:""`
	JSON    bool   `help:"Print one JSON document."`
}

func (v initVerb) Run(p *program) error {
	if err := v.unused(); err != nil {
		return err
	}
	log, err := journal.Open(p.ctx, v.options(p))
	if err != nil {
		return err
	}
	opened, err := v.open(p, log)
	if err := errors.Join(err, log.Close()); err != nil {
		return err
	}
	if v.JSON {
		return p.print(map[string]any{"company": opened.Company, "token": opened.Token})
	}
	place, flags := v.Dir, "--dir "+v.Dir
	if v.Nats != "" {
		place, flags = "the broker", "--nats ... --postgres ..."
	}
	_, err = fmt.Fprintf(p.out, "Company %s is ready in %s.\nThe owner's token, shown this once: %s\nServe it: bydark serve %s\n", opened.Company, place, opened.Token, flags)
	return err
}

// unused refuses a directory that holds anything, and makes it.
func (v initVerb) unused() error {
	switch {
	case v.Nats != "":
		return private(v.Creds)
	case v.Dir == "":
		return &badInput{errors.New("missing flags: --dir=STRING or --nats=URL")}
	}
	if err := emptyDir(v.Dir); err != nil {
		return err
	}
	if err := os.MkdirAll(v.Dir, 0o700); err != nil {
		return fmt.Errorf("make %s: %w", v.Dir, err)
	}
	return nil
}

// open opens the company in a log that has none.
func (v initVerb) open(p *program, log *journal.Journal) (access.Opened, error) {
	if err := isNew(p.ctx, log); err != nil {
		return access.Opened{}, err
	}
	return openCompany(p, log, v.Company)
}

// isNew refuses a log that somebody uses.
func isNew(ctx context.Context, log *journal.Journal) error {
	end, err := log.End(ctx, journal.Door)
	if err == nil && end.Sequence > 0 {
		err = &badInput{errors.New("the broker holds a company already; want one without a log")}
	}
	return err
}

// openCompany opens a company while its directory of people follows the log.
func openCompany(p *program, log *journal.Journal, name string) (access.Opened, error) {
	people, err := access.Open(p.ctx, log, p.random, p.now)
	if err != nil {
		return access.Opened{}, err
	}
	var opened access.Opened
	ctx, stop := context.WithCancel(p.ctx)
	defer stop()
	err = together(ctx, people.Run, func(ctx context.Context) error {
		opened, err = people.OpenCompany(ctx, name, "Owner")
		return err
	})
	return opened, err
}

type serveVerb struct {
	where
	front
	telling
	fetching
	logging
	roles
	Addr string `help:"Address to listen on." default:"127.0.0.1:8080" env:"BYDARK_ADDR"`
}

func (v serveVerb) Run(p *program) error {
	if err := v.prepared(); err != nil {
		return err
	}
	v.to(p)
	var err error
	if v.roles, err = v.settled(v.where); err != nil {
		return err
	}
	h, err := openHouse(p.ctx, v.where, p)
	if err != nil {
		return err
	}
	if h.courier, err = v.courier(h, v.where, p); err != nil {
		return errors.Join(err, h.close())
	}
	if h.fetch, err = v.fetching.run(h); err != nil {
		return errors.Join(err, h.close())
	}
	return errors.Join(v.serve(p, h), h.close())
}

func (v serveVerb) serve(p *program, h *house) error {
	l, err := net.Listen("tcp", v.Addr)
	if err != nil {
		return &badInput{err}
	}
	most, err := connections()
	if err != nil {
		return errors.Join(err, l.Close())
	}
	l = netutil.LimitListener(l, most)
	door, err := h.door(v.front, v.roles)
	if err != nil {
		return errors.Join(&badInput{err}, l.Close())
	}
	fmt.Fprintf(p.err, "%s serving on http://%s\n", p.now().UTC().Format(time.RFC3339), l.Addr())
	return h.serve(p.ctx, l, door, v.roles)
}

// connections is how many may be open at once, so that clients never take the descriptors that the log and the views need: what is more
// waits to be accepted.
func connections() (int, error) {
	const ours, least = 48, 8
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &limit); err != nil {
		return 0, fmt.Errorf("limit of open files: %w", err)
	}
	all := int64(min(limit.Cur, 1<<20)) //nolint:gosec // at most 2^20
	return int(max(all-max(ours, all/8), least)), nil
}
