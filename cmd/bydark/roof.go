package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"bydark/services/roof"
)

type roofVerb struct {
	Import roofImportVerb `cmd:"" help:"Read roofs from a city model or a sheet of hand-measured planes."`
}

type roofImportVerb struct {
	File     string `arg:"" help:"CityJSON, a CityJSON text sequence, or CSV of measured planes; - reads standard input."`
	Building string `help:"Give this building of a city model as a roof file; without it, list them all." placeholder:"ID"`
	CSVName  string `name:"csv-name" help:"The roof's name, for a CSV sheet; else the file's." placeholder:"NAME"`
	JSON     bool   `help:"Print one JSON document; a roof file always is one."`
}

func (v roofImportVerb) Run(p *program) error {
	data, err := p.read(v.File)
	if err != nil {
		return err
	}
	if !roof.IsCity(data) {
		return v.measured(p, data)
	}
	if v.CSVName != "" {
		return refuse(v.File, errors.New("--csv-name: a city model; want a CSV sheet, or no --csv-name"))
	}
	if v.Building != "" {
		file, err := roof.ImportBuilding(data, v.Building)
		if err != nil {
			return refuse(v.File, err)
		}
		return p.write(file)
	}
	lines, err := roof.ImportList(data)
	if err != nil {
		return refuse(v.File, err)
	}
	if v.JSON {
		return p.print(map[string]any{"buildings": lines})
	}
	return p.list(lines)
}

// measured turns a sheet of hand-measured planes into a roof file.
func (v roofImportVerb) measured(p *program, data []byte) error {
	if v.Building != "" {
		return refuse(v.File, errors.New("--building: not a city model; want CityJSON, or no --building"))
	}
	name := v.CSVName
	if name == "" && v.File != "-" {
		name = strings.TrimSuffix(filepath.Base(v.File), filepath.Ext(v.File))
	}
	r, err := roof.ReadMeasured(name, data)
	if err != nil {
		return refuse(v.File, err)
	}
	file, err := roof.Write(r)
	if err != nil {
		return fmt.Errorf("write the roof file: %w", err)
	}
	return p.write(file)
}

// write puts a document out as it is.
func (p *program) write(doc []byte) error {
	_, err := p.out.Write(doc)
	return err
}

// list writes a line a building, for people.
func (p *program) list(lines []roof.BuildingLine) error {
	w := tabwriter.NewWriter(p.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "building\tplanes\tarea m2\tedges")
	for _, l := range lines {
		if l.Skipped {
			fmt.Fprintf(w, "%s\t-\t-\tskipped: %s\n", l.ID, l.Reason)
			continue
		}
		var edges []string
		for kind, n := range l.Edges {
			edges = append(edges, fmt.Sprintf("%s %d", kind, n))
		}
		slices.Sort(edges)
		fmt.Fprintf(w, "%s\t%d\t%.1f\t%s\n", l.ID, l.Planes, l.AreaM2, strings.Join(edges, ", "))
	}
	return w.Flush()
}
