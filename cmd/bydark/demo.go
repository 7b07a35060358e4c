package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"

	"bydark/events"
	"bydark/services/access"
)

type demoVerb struct {
	Addr string `help:"Address to listen on." default:"127.0.0.1:8080"`
	Dir  string `help:"An empty or new directory to keep it in; without one it is gone at the end." type:"path"`
	Once bool   `help:"Play it, print where the roofs stand, and end."`
	JSON bool   `help:"With --once: print one JSON document."`
	elsewhere
}

// demoCompany and demoPeople are our own invention, as is all of the scenario.
const demoCompany = "Alder and Birch Roofs"

var demoPeople = []struct {
	name string
	role events.Role
}{{"Rowan", access.Lead}, {"Hazel", access.Hand}, {"Linden", access.Manager}, {"Sorrel", access.Purchasing}, {"Juniper", access.Inspector}}

func (v demoVerb) Run(p *program) (err error) {
	dir := v.Dir
	if dir == "" {
		if dir, err = os.MkdirTemp("", "bydark-demo-"); err != nil {
			return fmt.Errorf("make a directory for the demo: %w", err)
		}
		defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	} else if err := emptyDir(dir); err != nil {
		return err
	}
	h, err := openHouse(p.ctx, where{dir, v.elsewhere}, p)
	if err != nil {
		return err
	}
	if err := isNew(p.ctx, h.journal); err != nil {
		return errors.Join(err, h.close())
	}
	if h.courier, err = (telling{}).courier(h, where{Dir: dir}, p); err != nil {
		return errors.Join(err, h.close())
	}
	return errors.Join(v.serve(p, h), h.close())
}

// serve serves the house and plays the scenario through its door, as anybody would.
func (v demoVerb) serve(p *program, h *house) error {
	addr := v.Addr
	if v.Once {
		addr = "127.0.0.1:0"
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return &badInput{err}
	}
	door, err := h.door(front{}, roles{Take: true, Fold: true, React: !v.Once})
	if err != nil {
		return errors.Join(err, l.Close())
	}
	return together(p.ctx, func(ctx context.Context) error {
		return h.serve(ctx, l, door, roles{Take: true, Fold: true, React: !v.Once})
	}, func(ctx context.Context) error {
		keys, err := v.people(ctx, h)
		if err != nil {
			return err
		}
		s := &scenario{base: "http://" + l.Addr().String(), keys: keys, now: p.now()}
		if err := s.play(ctx); err != nil {
			return err
		}
		if v.Once {
			return v.tell(ctx, p, s)
		}
		fmt.Fprintf(p.out, "Three roofs are played. Look at %s and sign in with a token:\n", s.base)
		for _, role := range access.Roles() {
			fmt.Fprintf(p.out, "  %-10s  %s\n", role, keys[role])
		}
		fmt.Fprintln(p.out, "The API takes the same tokens: Authorization: Bearer TOKEN. Stop with Ctrl-C.")
		<-ctx.Done()
		return nil
	})
}

// people opens the company and gives everybody a token, by role.
func (v demoVerb) people(ctx context.Context, h *house) (map[events.Role]string, error) {
	opened, err := h.people.OpenCompany(ctx, demoCompany, "Alder")
	if err != nil {
		return nil, err
	}
	keys := map[events.Role]string{access.Owner: opened.Token}
	owner, err := h.people.Who(opened.Token)
	if err != nil {
		return nil, err
	}
	for _, someone := range demoPeople {
		id, err := h.people.AddPerson(ctx, owner, someone.name, someone.role)
		if err != nil {
			return nil, err
		}
		issued, err := h.people.IssueToken(ctx, owner, id)
		if err != nil {
			return nil, err
		}
		keys[someone.role] = issued.Token
	}
	return keys, nil
}

// tell prints where the roofs stand.
func (v demoVerb) tell(ctx context.Context, p *program, s *scenario) error {
	rows, err := s.stand(ctx)
	if err != nil {
		return err
	}
	if v.JSON {
		return p.print(map[string]any{"jobs": rows})
	}
	for _, r := range rows {
		if _, err := fmt.Fprintf(p.out, "%-14s %3d %% closed, %d open edges, %d punch items, %d checks left: %s\n",
			r.Job, r.PercentClosed, r.OpenEdges, r.PunchOpen, r.ChecksLeft, r.Name); err != nil {
			return err
		}
	}
	return nil
}
