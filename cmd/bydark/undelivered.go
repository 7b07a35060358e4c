package main

import (
	"bytes"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"time"
)

// undeliveredVerb deals with what could not be delivered to subscribers, by asking a
// service that runs: only it can send.
type undeliveredVerb struct {
	List listUndelivered `cmd:"" default:"withargs" help:"What could not be delivered, the oldest first."`
	Read readUndelivered `cmd:"" help:"One of them, with what would be sent."`
	Send sendUndelivered `cmd:"" help:"Send them again; each is taken off the list when it was delivered."`
	Drop dropUndelivered `cmd:"" help:"Take them off the list unsent."`
}

// serviceClient asks a service as an owner or manager.
type serviceClient struct {
	Server    string `help:"The service." default:"http://127.0.0.1:8080" env:"BYDARK_SERVER" placeholder:"URL"`
	TokenFile string `help:"File with an owner's or manager's token, which nobody else may read." required:"" env:"BYDARK_TOKEN_FILE" type:"path"`
	JSON      bool   `help:"Print one JSON document."`
}

// undelivered is one row of the API's list.
type undelivered struct {
	Number     uint64    `json:"number"`
	Subscriber string    `json:"subscriber"`
	Job        string    `json:"job"`
	Sequence   uint64    `json:"sequence"`
	ID         string    `json:"id"`
	Type       string    `json:"type"`
	Reason     string    `json:"reason"`
	Handler    string    `json:"handler"`
	Set        time.Time `json:"set_aside"`
}

type listUndelivered struct{ serviceClient }

// Run prints the whole list, page by page.
func (v listUndelivered) Run(p *program) error {
	all := []undelivered{}
	for cursor := uint64(0); ; {
		var page struct {
			Undelivered []undelivered `json:"undelivered"`
			Next        uint64        `json:"next"`
		}
		if err := v.ask(p, http.MethodGet, fmt.Sprintf("/v1/undelivered?cursor=%d", cursor), &page); err != nil {
			return err
		}
		all = append(all, page.Undelivered...)
		if cursor = page.Next; cursor == 0 {
			break
		}
	}
	if v.JSON {
		return p.print(map[string]any{"undelivered": all})
	}
	for _, u := range all {
		if _, err := fmt.Fprintf(p.out, "%d\t%s\t%s\tevent %d of %s, %s: %s\n", u.Number, u.Set.Format(time.RFC3339), u.Subscriber, u.Sequence, u.Job, u.Type, u.Reason); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(p.out, "%d could not be delivered.\n", len(all))
	return err
}

type readUndelivered struct {
	serviceClient
	Number uint64 `arg:"" help:"Its number in the list."`
}

// Run prints one whole, as JSON: it is a document.
func (v readUndelivered) Run(p *program) error {
	var doc jsontext.Value
	if err := v.ask(p, http.MethodGet, fmt.Sprintf("/v1/undelivered/%d", v.Number), &doc); err != nil {
		return err
	}
	if err := doc.Indent(); err != nil {
		return fmt.Errorf("answer of the service: %w", err)
	}
	_, err := fmt.Fprintf(p.out, "%s\n", doc)
	return err
}

type sendUndelivered struct {
	serviceClient
	Numbers []uint64 `arg:"" help:"Their numbers in the list."`
}

// Run sends in the order of the list and does not stop at one that fails.
func (v sendUndelivered) Run(p *program) error { return v.each(p, http.MethodPost, "/send", v.Numbers) }

type dropUndelivered struct {
	serviceClient
	Numbers []uint64 `arg:"" help:"Their numbers in the list."`
}

// Run drops.
func (v dropUndelivered) Run(p *program) error { return v.each(p, http.MethodDelete, "", v.Numbers) }

func (c serviceClient) each(p *program, method, act string, numbers []uint64) error {
	done := []uint64{}
	var errs []error
	for _, n := range numbers {
		if err := c.ask(p, method, fmt.Sprintf("/v1/undelivered/%d%s", n, act), nil); err != nil {
			errs = append(errs, fmt.Errorf("%d: %w", n, err))
			continue
		}
		done = append(done, n)
	}
	if c.JSON {
		return errors.Join(append(errs, p.print(map[string]any{"done": done}))...)
	}
	_, err := fmt.Fprintf(p.out, "%d of %d done.\n", len(done), len(numbers))
	return errors.Join(append(errs, err)...)
}

// ask asks the service and reads its answer into a document.
func (c serviceClient) ask(p *program, method, path string, into any) error {
	if err := private(c.TokenFile); err != nil {
		return err
	}
	token, err := os.ReadFile(c.TokenFile)
	if err != nil {
		return &badInput{err}
	}
	request, err := http.NewRequestWithContext(p.ctx, method, strings.TrimSuffix(c.Server, "/")+path, nil)
	if err != nil {
		return &badInput{fmt.Errorf("server %q: want an address such as https://roofs.example", c.Server)}
	}
	request.Header.Set("Authorization", "Bearer "+string(bytes.TrimSpace(token)))
	answer, err := (&http.Client{Timeout: time.Minute}).Do(request)
	if err != nil {
		return fmt.Errorf("ask the service: %w", err)
	}
	const most = 16 << 20
	body, err := io.ReadAll(io.LimitReader(answer.Body, most))
	if err := errors.Join(err, answer.Body.Close()); err != nil {
		return fmt.Errorf("ask the service: %w", err)
	}
	if answer.StatusCode/100 != 2 {
		var problem struct {
			Detail string         `json:"detail"`
			Rest   jsontext.Value `json:",embed"`
		}
		if err := json.Unmarshal(body, &problem); err != nil || problem.Detail == "" {
			problem.Detail = answer.Status
		}
		return fmt.Errorf("the service says: %s", problem.Detail)
	}
	if into == nil {
		return nil
	}
	if err := json.Unmarshal(body, into); err != nil {
		return fmt.Errorf("answer of the service: %w", err)
	}
	return nil
}
