package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

type takeoffVerb struct {
	Roof     string `arg:"" help:"Roof file in JSON, or hand-measured planes in CSV; - reads standard input."`
	Assembly string `default:"flat-clip" help:"Name of a shipped assembly, or an assembly's file."`
	JSON     bool   `help:"Print one JSON document."`
	CSV      string `placeholder:"FILE" help:"Write order, cut list, edges and checks as CSV."`
	XLSX     string `placeholder:"FILE" help:"Write them as a workbook."`
	Map      string `placeholder:"FILE" help:"Draw the roof with its panels as SVG."`

	Start      map[string]string `placeholder:"PLANE=SIDE" help:"Where a plane's panels start: left, right, centred or an edge's mark."`
	Match      map[string]string `placeholder:"PLANE=PLANE" help:"Meet the seams of a neighbour on the edge between."`
	LeastCover quantity.Length   `placeholder:"LENGTH" help:"Narrowest strip that is worth setting; the assembly's, if not given."`
	Overhang   quantity.Length   `placeholder:"LENGTH" help:"Eave overhang in plan: the ice barrier then reaches 24 in inside the wall."`
	Wall       quantity.Length   `placeholder:"LENGTH" help:"Thickness of the exterior wall."`
	EndReturn  quantity.Length   `placeholder:"LENGTH" help:"What a trim takes more at each outside corner round which it is folded; the assembly's, if not given."`
	Measure    []string          `sep:"none" placeholder:"PLACE=LENGTH" help:"What was measured: an edge's length, or a plane's up the slope; the takeoff follows, and says what contradicts."`
	Zone       []string          `sep:"none" placeholder:"ALONG,DEPTH,SPACING[,PLANE]" help:"Where clips stand closer: eave, ridge or rake, how deep, how far apart, on which plane."`
}

func (v takeoffVerb) Run(p *program) error {
	r, err := readRoof(p, v.Roof)
	if err != nil {
		return err
	}
	a, err := readAssembly(p, v.Assembly)
	if err != nil {
		return err
	}
	plan, err := v.layout()
	if err != nil {
		return err
	}
	e, err := takeoff.Partly(r, a, plan)
	if err != nil {
		return refuse(v.Roof, err)
	}
	doc := e.Document()
	if len(v.Measure) > 0 {
		measured, err := v.measured(r)
		if err != nil {
			return err
		}
		first := e
		if e, err = takeoff.Partly(measured.Roof, a, plan); err != nil {
			return refuse(v.Roof+" as measured", err)
		}
		r, doc = measured.Roof, e.Followed(first, measured)
		for _, c := range measured.Contradictions {
			e.Notes = append(e.Notes, c.Words)
		}
	}
	for _, f := range []struct {
		name  string
		write func(io.Writer) error
	}{
		{v.CSV, e.WriteCSV}, {v.XLSX, e.WriteWorkbook},
		{v.Map, func(w io.Writer) error { _, err := io.WriteString(w, roof.Map(r, panelMap(e))); return err }},
	} {
		if err := writeFile(f.name, f.write); err != nil {
			return err
		}
	}
	if v.JSON {
		return p.print(doc)
	}
	return e.WriteText(p.out)
}

// measured is the roof as the flags say that it was measured.
func (v takeoffVerb) measured(r *roof.Roof) (*takeoff.Remeasured, error) {
	var all []events.MeasureTaken
	for _, said := range v.Measure {
		place, length, ok := strings.Cut(said, "=")
		if !ok {
			return nil, &events.Refusal{Code: "bad-flag", Where: "--measure", Was: said, Want: `a place and its length, such as eave-1=40'-4"`}
		}
		m := events.MeasureTaken{Where: events.Place(place), Of: events.OfLength, Values: []events.Reading{events.Reading(length)}}
		if _, isPlane := r.Plane(roof.PlaneMark(place)); isPlane {
			m.Of = events.OfSlopeLength
		}
		all = append(all, m)
	}
	measured, err := takeoff.Remeasure(r, all)
	return measured, refuse(v.Roof+", --measure", err)
}

// readRoof reads a roof file, or a sheet of hand-measured planes.
func readRoof(p *program, file string) (*roof.Roof, error) {
	data, err := p.read(file)
	if err != nil {
		return nil, err
	}
	var r *roof.Roof
	if roof.IsCity(data) { // which tells JSON from a sheet
		r, err = roof.Read(data)
	} else {
		r, err = roof.ReadMeasured(file, data)
	}
	return r, refuse(file, err)
}

// readAssembly takes a shipped assembly's name before a file's.
func readAssembly(p *program, name string) (*assembly.Assembly, error) {
	var doc []byte
	var err error
	if slices.Contains(assembly.Shipped(), name) {
		doc, err = assembly.Document(name)
	} else if doc, err = p.read(name); err != nil {
		return nil, &badInput{fmt.Errorf("--assembly: %w; want one of %s, or a file", err, strings.Join(assembly.Shipped(), ", "))}
	}
	if err != nil {
		return nil, err
	}
	a, err := assembly.Read(doc)
	return a, refuse(name, err)
}

// layout is what the flags choose.
func (v *takeoffVerb) layout() (takeoff.Layout, error) {
	plan := takeoff.Layout{
		Starts: map[roof.PlaneMark]takeoff.Start{}, LeastCover: v.LeastCover, Overhang: v.Overhang, Wall: v.Wall, EndReturn: v.EndReturn,
	}
	for plane, from := range v.Start {
		plan.Starts[roof.PlaneMark(plane)] = takeoff.Start{From: from}
	}
	for plane, neighbour := range v.Match {
		s := plan.Starts[roof.PlaneMark(plane)]
		s.Match = roof.PlaneMark(neighbour)
		plan.Starts[roof.PlaneMark(plane)] = s
	}
	for _, said := range v.Zone {
		parts := strings.Split(said, ",")
		bad := &events.Refusal{Code: "bad-flag", Where: "--zone", Was: said, Want: `along, depth, spacing and, if not on all, the plane, such as eave,4',12 in,A`}
		if len(parts) != 3 && len(parts) != 4 {
			return plan, bad
		}
		depth, err1 := quantity.ParseLength(parts[1])
		spacing, err2 := quantity.ParseLength(parts[2])
		if err1 != nil || err2 != nil {
			return plan, bad
		}
		z := takeoff.Zone{Along: strings.TrimSpace(parts[0]), Depth: depth, Spacing: spacing}
		if len(parts) == 4 {
			z.Plane = roof.PlaneMark(strings.TrimSpace(parts[3]))
		}
		plan.Zones = append(plan.Zones, z)
	}
	return plan, nil
}

// panelMap shows the panels as strips on their planes.
func panelMap(e *takeoff.Estimate) roof.MapState {
	var s roof.MapState
	for i := range e.Planes {
		for _, p := range e.Planes[i].Panels {
			s.Panels = append(s.Panels, roof.Strip{Mark: string(p.Mark), Outline: p.Outline})
		}
	}
	return s
}

// writeFile makes the whole file before it touches the disk; an empty name writes none.
func writeFile(name string, write func(io.Writer) error) error {
	if name == "" {
		return nil
	}
	var whole bytes.Buffer
	if err := write(&whole); err != nil {
		return fmt.Errorf("make %s: %w", name, err)
	}
	if err := os.WriteFile(name, whole.Bytes(), 0o644); err != nil {
		return &badInput{fmt.Errorf("%w; want a file that can be written", err)}
	}
	return nil
}
