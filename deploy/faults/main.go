// Command faults runs every test of a fault or an attack with its full number of rounds,
// one after the other, and prints a line for each: number, test, rounds, seed, seconds,
// pass. `make faults` calls it.
//
// What is to be run stands in the table of DEVELOPERS.md; -table brings that table up to
// what the tests say of themselves: a test names its numbers in its comment.
package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

const page = "DEVELOPERS.md"

func main() {
	only := flag.String("only", "", "numbers to run, such as F01,F28; empty for all")
	table := flag.Bool("table", false, "write the table of "+page+" anew instead of running")
	most := flag.Duration("most", time.Hour, "how long one test may take")
	fuzz := flag.Duration("fuzz", 10*time.Minute, "how long each fuzz target runs")
	few := flag.Int("rounds", 0, "at most so many rounds of each; 0 for as many as the table says")
	flag.Parse()
	if err := run(context.Background(), *only, *table, limits{*few, *most, *fuzz}); err != nil {
		fmt.Fprintln(os.Stderr, "faults:", err)
		os.Exit(1)
	}
}

// limits are how many rounds a test runs at most, 0 for as many as the table says, how
// long it may take, and how long a fuzz target runs.
type limits struct {
	rounds     int
	most, fuzz time.Duration
}

func run(ctx context.Context, only string, table bool, l limits) error {
	found, err := testsIn(".")
	if err != nil {
		return err
	}
	text, err := os.ReadFile(page)
	if err != nil {
		return err
	}
	if table {
		return os.WriteFile(page, renewed(text, found), 0o644) //nolint:gosec // a file of the source tree
	}
	return runAll(ctx, rowsOf(text), found, only, l)
}

// runAll runs each test once, with the most rounds that one of its numbers asks for.
func runAll(ctx context.Context, rows []row, found []test, only string, l limits) error {
	work, err := os.MkdirTemp("", "bydark-faults-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work) //nolint:errcheck // a directory for temporary files
	wanted := strings.FieldsFunc(only, func(c rune) bool { return c == ',' })
	built, failed, n := map[string]string{}, 0, 0
	for _, f := range found {
		rounds, ours := 0, len(wanted) == 0
		for _, r := range rows {
			if n, err := strconv.Atoi(r.rounds); err == nil && slices.Contains(f.numbers, r.number) {
				rounds = max(rounds, n)
			}
		}
		if l.rounds > 0 {
			rounds = min(rounds, l.rounds)
		}
		for _, number := range f.numbers {
			ours = ours || slices.Contains(wanted, number)
		}
		if !ours {
			continue
		}
		if built[f.dir] == "" {
			built[f.dir] = filepath.Join(work, fmt.Sprint(len(built))+".test")
			if out, err := exec.CommandContext(ctx, "go", "test", "-c", "-o", built[f.dir], "./"+f.dir).CombinedOutput(); err != nil {
				return fmt.Errorf("build the tests of %s: %w\n%s", f.dir, err, out)
			}
		}
		n++
		if f.fuzzes() {
			rounds = 0
		}
		if !runOne(ctx, built[f.dir], f, rounds, l) {
			failed++
		}
	}
	fmt.Fprintf(os.Stdout, "%d passed, %d failed\n", n-failed, failed)
	if failed > 0 {
		return errors.New("some failed")
	}
	return nil
}

// said finds what a test logs of its seed and its rounds.
var said = regexp.MustCompile(`\bseed[ =](\d+)|\b(\d+) rounds\b|-rapid\.seed=(\d+)|OK, passed (\d+) tests`)

func runOne(ctx context.Context, binary string, f test, rounds int, l limits) bool {
	most := l.most
	if f.fuzzes() {
		most = max(most, l.fuzz+5*time.Minute)
	}
	ctx, cancel := context.WithTimeout(ctx, most)
	defer cancel()
	c := exec.CommandContext(ctx, binary, "-test.run", "^"+f.name+"$", "-test.v", "-test.timeout", most.String())
	c.Dir = f.dir
	if f.fuzzes() { // the go command builds it so that it sees which ways it has been
		c = exec.CommandContext(ctx, "go", "test", "-run", "^$", "-fuzz", "^"+f.name+"$", "-fuzztime", l.fuzz.String(), "./"+f.dir)
	}
	c.Env = os.Environ()
	if rounds > 0 {
		c.Env = append(c.Env, fmt.Sprint("BYDARK_FAULT_ROUNDS=", rounds))
	}
	began := time.Now()
	out, err := c.CombinedOutput()
	took := time.Since(began)
	// What the test says counts, not what it was asked for.
	seed, ran := "-", "1"
	for in := bufio.NewScanner(bytes.NewReader(out)); in.Scan(); {
		if m := said.FindStringSubmatch(in.Text()); m != nil {
			switch {
			case m[1]+m[3] != "":
				seed = m[1] + m[3]
			case m[2]+m[4] != "":
				ran = m[2] + m[4]
			}
		}
	}
	end := "pass"
	// A name that matches nothing passes too, and would hide that a test is gone.
	if err != nil || !bytes.Contains(out, []byte("--- PASS: "+f.name)) && !f.fuzzes() {
		end = "FAIL"
	}
	fmt.Fprintf(os.Stdout, "%-16s %-44s rounds %5s  seed %-20s %7.1f s  %s\n", strings.Join(f.numbers, ","), f.name, ran, seed, took.Seconds(), end)
	if end == "FAIL" {
		fmt.Fprintf(os.Stderr, "%s\n%v\n", out, err)
	}
	return end == "pass"
}
