// Command bydark keeps standing seam roofs safe while they are built: it takes reports
// from the roof, and answers what is open, what it took, and what is left to do.
package main

import (
	"context"
	"encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"
	_ "time/tzdata" // zones of sites, on machines that have none

	"bydark/events"
	"bydark/services/roof"

	"github.com/alecthomas/kong"
)

// program is what every verb is given: the one clock, and where to write.
type program struct {
	ctx    context.Context
	now    func() time.Time
	in     io.Reader
	out    io.Writer
	err    io.Writer
	log    *slog.Logger
	random io.Reader
}

// verbs is the command line, one field a verb.
type verbs struct {
	Demo        demoVerb        `cmd:"" help:"Play the demo scenario into an embedded log, serve it, and say how to sign in."`
	Init        initVerb        `cmd:"" help:"Prepare an empty directory for a company and print the owner's token, once."`
	Serve       serveVerb       `cmd:"" help:"Serve the API and the pages."`
	Token       tokenVerb       `cmd:"" help:"Let somebody in again whose token was lost: print a new one, once."`
	Rebuild     rebuildVerb     `cmd:"" help:"Throw every view away and fold them again from the log."`
	Verify      verifyVerb      `cmd:"" help:"Check the log, and the views against it."`
	Backup      backupVerb      `cmd:"" help:"Write the whole of a directory, pictures included, to one file."`
	Restore     restoreVerb     `cmd:"" help:"Fill an empty directory from a backup."`
	Takeoff     takeoffVerb     `cmd:"" help:"Reckon a roof file: panels, edges, what to order."`
	Roof        roofVerb        `cmd:"" help:"Roofs from elsewhere."`
	Cutplan     cutplanVerb     `cmd:"" help:"Say which piece comes out of which bar."`
	Weather     weatherVerb     `cmd:"" help:"Forecasts and the sun."`
	Calc        calcVerb        `cmd:"" help:"One published formula at a time."`
	Undelivered undeliveredVerb `cmd:"" help:"What could not be delivered to subscribers: list, read, send again, drop."`
	Version     versionVerb     `cmd:"" help:"Print the version."`
}

// badInput is an error of whoever called: exit 2.
type badInput struct{ err error }

func (b *badInput) Error() string { return b.err.Error() }
func (b *badInput) Unwrap() error { return b.err }

// refuse makes an error the caller's, naming the file.
func refuse(file string, err error) error {
	if err == nil {
		return nil
	}
	return &badInput{fmt.Errorf("%s: %w", file, err)}
}

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// run is the program; it gives the exit code.
func run(args []string, in io.Reader, out, errs io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var v verbs
	code := -1
	parser, err := kong.New(&v, kong.Name("bydark"), kong.Description("Standing seam roofs, kept safe while they are built."),
		kong.Writers(out, errs), kong.Exit(func(n int) { code = n }))
	if err != nil {
		fmt.Fprintln(errs, "bydark:", err)
		return 1
	}
	call, err := parser.Parse(args)
	if code >= 0 {
		return code
	}
	if err != nil {
		fmt.Fprintln(errs, "bydark:", err)
		return 2
	}
	p := &program{
		ctx: ctx, now: time.Now, in: in, out: out, err: errs, random: randomness,
		log: slog.New(slog.NewTextHandler(errs, &slog.HandlerOptions{Level: slog.LevelWarn})),
	}
	return exitCode(errs, call.Run(p))
}

// exitCode is the one table from errors to exit codes.
func exitCode(errs io.Writer, err error) int {
	var bad *badInput
	var drawn *roof.Refusal
	switch {
	case err == nil:
		return 0
	case errors.As(err, &bad), errors.As(err, &drawn), events.RefusalIn(err) != nil:
		fmt.Fprintln(errs, "bydark:", strings.ReplaceAll(err.Error(), "\n", " "))
		return 2
	default:
		fmt.Fprintln(errs, "bydark:", strings.ReplaceAll(err.Error(), "\n", " "))
		return 1
	}
}

// print writes one JSON document, and nothing else, to standard output.
func (p *program) print(doc any) error {
	data, err := json.Marshal(doc, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	_, err = p.out.Write(append(data, '\n'))
	return err
}

// read reads a file, or standard input for -, as large as the largest that any verb takes:
// a city model.
func (p *program) read(file string) ([]byte, error) {
	const most = roof.MaxCityBytes
	in := p.in
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, &badInput{fmt.Errorf("read %s: %w", file, err)}
		}
		defer f.Close()
		in = f
	}
	data, err := io.ReadAll(io.LimitReader(in, most+1))
	switch {
	case err != nil:
		return nil, &badInput{fmt.Errorf("read %s: %w", file, err)}
	case len(data) > most:
		return nil, &badInput{fmt.Errorf("%s: larger than %d bytes; want a smaller file", file, most)}
	}
	return data, nil
}
