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
)

func newState(company, job string) *roofjob.State {
	return roofjob.New(events.CompanyID(company), events.JobID(job))
}

type initVerb struct {
	Dir     string `help:"An empty or new directory." required:"" type:"path"`
	Company string `help:"The company's name." required:""`
	JSON    bool   `help:"Print one JSON document."`
}

func (v initVerb) Run(p *program) error {
	if err := emptyDir(v.Dir); err != nil {
		return err
	}
	if err := os.MkdirAll(v.Dir, 0o700); err != nil {
		return fmt.Errorf("make %s: %w", v.Dir, err)
	}
	log, err := journal.Open(p.ctx, journal.Options{Dir: v.Dir, Log: p.log})
	if err != nil {
		return err
	}
	opened, err := openCompany(p, log, v.Company)
	if err := errors.Join(err, log.Close()); err != nil {
		return err
	}
	if v.JSON {
		return p.print(map[string]any{"company": opened.Company, "token": opened.Token})
	}
	_, err = fmt.Fprintf(p.out, "Company %s is ready in %s.\nThe owner's token, shown this once: %s\nServe it: bydark serve --dir %s\n", opened.Company, v.Dir, opened.Token, v.Dir)
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
	logging
	Addr string `help:"Address to listen on." default:"127.0.0.1:8080" env:"BYDARK_ADDR"`
}

func (v serveVerb) Run(p *program) error {
	if err := v.prepared(); err != nil {
		return err
	}
	v.to(p)
	h, err := openHouse(p.ctx, v.where, p)
	if err != nil {
		return err
	}
	return errors.Join(v.serve(p, h), h.close())
}

func (v serveVerb) serve(p *program, h *house) error {
	l, err := net.Listen("tcp", v.Addr)
	if err != nil {
		return &badInput{err}
	}
	door, err := h.door(v.front)
	if err != nil {
		return errors.Join(&badInput{err}, l.Close())
	}
	fmt.Fprintf(p.err, "%s serving on http://%s\n", p.now().UTC().Format(time.RFC3339), l.Addr())
	return together(p.ctx,
		func(ctx context.Context) error { return h.serve(ctx, l, door) },
		h.react,
	)
}
