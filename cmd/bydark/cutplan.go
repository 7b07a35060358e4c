package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"bydark/services/cutplan"
	"bydark/services/cutsheet"
	"bydark/services/takeoff"
)

type cutplanVerb struct {
	File      string        `arg:"" optional:"" help:"Stock and pieces, one JSON document; - reads standard input."`
	Batch     string        `help:"Plan every line of this file instead: {\"id\",\"capacity\",\"items\":[[size,count],...]}." placeholder:"FILE.jsonl"`
	TimeLimit time.Duration `help:"How long one plan may be searched for." default:"1s"`
	Progress  bool          `help:"Tell each better plan and bound on standard error."`
	Sheet     string        `help:"Draw bars and labels into this file, .pdf or .svg." placeholder:"FILE" type:"path"`
	Link      string        `help:"What stands before the mark in a label's code, such as https://roofs.example/jobs/barn/piece?material=panel&mark=; nothing: the code is the mark." placeholder:"URL"`
	JSON      bool          `help:"Print JSON: one document, or a line for each of a batch."`
}

func (v cutplanVerb) Run(p *program) error {
	switch {
	case (v.File == "") == (v.Batch == ""):
		return &badInput{errors.New("cutplan: want a FILE or --batch FILE, one of the two")}
	case v.Sheet != "" && (v.Batch != "" || v.drawer() == nil):
		return &badInput{fmt.Errorf("--sheet: %s; want a name that ends in .pdf or .svg, and a FILE to plan", v.Sheet)}
	case v.TimeLimit <= 0:
		return &badInput{fmt.Errorf("--time-limit: %s; want a time above zero", v.TimeLimit)}
	case v.Batch != "":
		return v.batch(p)
	}
	data, err := p.read(v.File)
	if err != nil {
		return err
	}
	req, err := cutplan.Read(data)
	if err != nil {
		return refuse(v.File, err)
	}
	plan, err := v.plan(p, req)
	if err != nil {
		return refuse(v.File, err)
	}
	if v.Sheet != "" {
		if err := v.draw(p, req, plan); err != nil {
			return err
		}
	}
	if v.JSON {
		return p.print(plan)
	}
	return printPlan(p, plan)
}

// plan holds the clock that the planner itself has not.
func (v cutplanVerb) plan(p *program, req cutplan.Request) (*cutplan.Answer, error) {
	ctx, stop := context.WithTimeout(p.ctx, v.TimeLimit)
	defer stop()
	start := p.now()
	var watch func(cutplan.Progress)
	var told error
	if v.Progress {
		watch = func(now cutplan.Progress) {
			_, err := fmt.Fprintf(p.err, "after %s: %s\n", p.now().Sub(start).Round(time.Millisecond), now)
			told = errors.Join(told, err)
		}
	}
	plan, err := cutplan.Watched(ctx, req, watch)
	if err = errors.Join(err, told); err != nil {
		return nil, err
	}
	plan.ElapsedMS = float64(p.now().Sub(start)) / float64(time.Millisecond)
	return plan, nil
}

// drawer is what writes the kind of file that Sheet names; nil for another kind.
func (v cutplanVerb) drawer() func(title string, pages []cutsheet.Page, made time.Time) ([]byte, error) {
	switch strings.ToLower(filepath.Ext(v.Sheet)) {
	case ".pdf":
		return cutsheet.PDF
	case ".svg":
		return func(title string, pages []cutsheet.Page, _ time.Time) ([]byte, error) {
			return []byte(cutsheet.SVG(title, pages)), nil
		}
	}
	return nil
}

// draw writes the sheet and the labels.
func (v cutplanVerb) draw(p *program, req cutplan.Request, plan *cutplan.Answer) error {
	title := "Cut sheet"
	if v.File != "-" {
		title += " – " + filepath.Base(v.File)
	}
	sheet := cutsheet.Sheet{Title: title, Sub: p.now().Format("2 Jan 2006 15:04"), Foot: takeoff.Caution, Sections: []cutsheet.Section{{
		Title: "Bars", Request: req, Answer: plan, Labels: func(mark string) cutsheet.Label {
			link := mark
			if v.Link != "" {
				link = v.Link + url.QueryEscape(mark)
			}
			return cutsheet.Label{Link: link, Lines: cutsheet.Ends(&req, mark)}
		},
	}}}
	pages, err := sheet.Pages()
	if err != nil {
		return fmt.Errorf("lay the sheet out: %w", err)
	}
	file, err := v.drawer()(title, pages, p.now())
	if err != nil {
		return err
	}
	if err := os.WriteFile(v.Sheet, file, 0o644); err != nil { //nolint:gosec // a sheet to print is no secret
		return &badInput{err}
	}
	return nil
}

// batch reads every line before it plans the first, so that a slip in the last is told
// at once; then each answer goes out as it is found.
func (v cutplanVerb) batch(p *program) error {
	data, err := p.read(v.Batch)
	if err != nil {
		return err
	}
	type task struct {
		line int
		id   string
		req  cutplan.Request
	}
	var tasks []task
	n := 0
	for line := range bytes.Lines(data) {
		n++
		if line = bytes.TrimSpace(line); len(line) == 0 {
			continue
		}
		id, req, err := cutplan.ReadInstance(line)
		if err != nil {
			return refuse(fmt.Sprintf("%s, line %d", v.Batch, n), err)
		}
		tasks = append(tasks, task{n, id, req})
	}
	if len(tasks) == 0 {
		return refuse(v.Batch, errors.New("nothing in it; want one instance a line"))
	}
	for _, t := range tasks {
		plan, err := v.plan(p, t.req)
		if err != nil {
			return refuse(fmt.Sprintf("%s, line %d", v.Batch, t.line), err)
		}
		if err := p.ctx.Err(); err != nil {
			return fmt.Errorf("stopped before line %d: %w", t.line, err)
		}
		if err := v.outcome(p, plan.Outcome(t.id)); err != nil {
			return err
		}
	}
	return nil
}

func (v cutplanVerb) outcome(p *program, o cutplan.Outcome) error {
	if v.JSON {
		return p.print(o)
	}
	_, err := fmt.Fprintf(p.out, "%s: %d bars, %s\n", o.ID, o.Used, proof(o.Proven, o.LowerBound))
	return err
}

func proof(proven bool, lower int64) string {
	if proven {
		return "proven best"
	}
	return fmt.Sprintf("not proven best: no plan takes fewer than %d", lower)
}

// printPlan writes the plan for whoever stands at the saw.
func printPlan(p *program, plan *cutplan.Answer) error {
	w := bufio.NewWriter(p.out)
	fmt.Fprintf(w, "%d bars, %d of them new, %.1f %% waste; %s.\n", plan.Used, plan.NewBars, plan.WastePct, proof(plan.Proven, plan.LowerBound))
	if plan.Cost != "" {
		fmt.Fprintf(w, "Cost of the new bars %s, at least %s.\n", plan.Cost, plan.CostLowerBound)
	}
	for i, b := range plan.Bars {
		keep := ""
		if b.Keep {
			keep = ", keep it"
		}
		fmt.Fprintf(w, "%3d  %s: %s; left %s%s\n", i+1, b.Stock, strings.Join(b.Pieces, ", "), b.Offcut, keep)
	}
	return w.Flush()
}
