package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

type takeoffVerb struct {
	Roof     string `arg:"" help:"The roof file; - reads standard input."`
	Assembly string `help:"How the roof is built: a shipped assembly's name, or a file." default:"flat-clip" placeholder:"NAME|FILE"`
	JSON     bool   `help:"Print one JSON document."`
	CSV      string `help:"Write the sheets to this file too, as CSV." placeholder:"FILE"`
	XLSX     string `help:"Write the sheets to this file too, as a workbook." placeholder:"FILE"`
}

func (v takeoffVerb) Run(p *program) error {
	data, err := p.read(v.Roof)
	if err != nil {
		return err
	}
	r, err := roof.Read(data)
	if err != nil {
		return refuse(v.Roof, err)
	}
	a, err := readAssembly(p, v.Assembly)
	if err != nil {
		return err
	}
	e, err := takeoff.Of(r, a)
	if err != nil {
		return refuse(v.Roof, err)
	}
	if err := writeFile(v.CSV, e.WriteCSV); err != nil {
		return err
	}
	if err := writeFile(v.XLSX, e.WriteWorkbook); err != nil {
		return err
	}
	if v.JSON {
		return p.print(e.Document())
	}
	return e.WriteText(p.out)
}

// readAssembly takes a shipped assembly's name before a file's.
func readAssembly(p *program, name string) (*assembly.Assembly, error) {
	var data []byte
	var err error
	if slices.Contains(assembly.Shipped(), name) {
		data, err = assembly.Document(name)
	} else if data, err = p.read(name); err != nil {
		return nil, &badInput{fmt.Errorf("--assembly: %w; want one of %s, or a file", err, strings.Join(assembly.Shipped(), ", "))}
	}
	if err != nil {
		return nil, err
	}
	a, err := assembly.Read(data)
	return a, refuse(name, err)
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
