package main

import (
	"context"
	"errors"
	"fmt"

	"bydark/events"
	"bydark/events/journal"
	"bydark/services/access"
)

// tokenVerb is the way back in for whoever holds the directory when an owner's token is
// lost.
type tokenVerb struct {
	Dir    string `help:"The program's directory, while nobody serves it." type:"path" required:""`
	Person string `help:"Whose new token to print; without it everybody who may come in is listed." placeholder:"ID"`
	JSON   bool   `help:"Print one JSON document."`
}

func (v tokenVerb) Run(p *program) error {
	w := where{Dir: v.Dir}
	if err := w.prepared(); err != nil {
		return err
	}
	log, err := journal.Open(p.ctx, w.options(p))
	if err != nil {
		return alone(err, "token", "stop it first; an owner who can come in issues tokens on the page of people")
	}
	return errors.Join(v.of(p, log), log.Close())
}

func (v tokenVerb) of(p *program, log *journal.Journal) error {
	people, err := access.Open(p.ctx, log, p.random, p.now)
	if err != nil {
		return err
	}
	if v.Person == "" {
		return v.list(p, people)
	}
	var issued access.Issued
	ctx, stop := context.WithCancel(p.ctx)
	defer stop()
	err = together(ctx, people.Run, func(ctx context.Context) error {
		issued, err = people.Recover(ctx, events.PersonID(v.Person))
		return err
	})
	switch {
	case errors.Is(err, access.ErrNotFound):
		return &badInput{fmt.Errorf("--person %s: nobody of that id may come in; without --person all who may are listed", v.Person)}
	case err != nil:
		return err
	case v.JSON:
		return p.print(map[string]any{"person": v.Person, "token": issued.Token, "id": issued.ID})
	}
	_, err = fmt.Fprintf(p.out, "A new token, shown this once: %s\nThe earlier ones are still good: revoke what was lost on the page of people.\n", issued.Token)
	return err
}

func (v tokenVerb) list(p *program, people *access.Directory) error {
	type row struct {
		Company events.CompanyID `json:"company"`
		Person  events.PersonID  `json:"person"`
		Role    events.Role      `json:"role"`
		Name    string           `json:"name"`
		Tokens  int              `json:"tokens"`
	}
	all := []row{}
	for _, company := range people.Companies() {
		for _, one := range people.People(company) {
			all = append(all, row{company, one.ID, one.Role, one.Name, len(one.Tokens)})
		}
	}
	if v.JSON {
		return p.print(map[string]any{"people": all})
	}
	for _, r := range all {
		if _, err := fmt.Fprintf(p.out, "%s  %s  %s, %s, tokens: %d\n", r.Person, r.Company, r.Name, r.Role, r.Tokens); err != nil {
			return err
		}
	}
	return nil
}
