package main

import (
	"bytes"
	"errors"
	"strings"
	"testing"
)

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left") }

// TestExitCodes walks the three ways in which a call ends.
func TestExitCodes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		args []string
		code int
	}{
		{[]string{"version"}, 0},
		{[]string{"--help"}, 0},
		{[]string{"calc", "slope-factor", "pitch=6/12"}, 0},
		{nil, 2},
		{[]string{"no-such-verb"}, 2},
		{[]string{"takeoff"}, 2},
		{[]string{"calc", "slope-factor", "--no-such-flag"}, 2},
		{[]string{"calc", "slope-factor"}, 2},
	} {
		var out, errs bytes.Buffer
		if code := run(c.args, strings.NewReader(""), &out, &errs); code != c.code {
			t.Errorf("%q exits %d, want %d: %s", c.args, code, c.code, errs.String())
		}
		if said := errs.String(); c.code == 0 && said != "" || c.code == 2 && strings.Count(said, "\n") != 1 {
			t.Errorf("%q says on standard error: %q", c.args, said)
		}
		if c.code != 0 && out.Len() > 0 {
			t.Errorf("%q says on standard output: %q", c.args, out.String())
		}
	}
}

// TestFullDisk asks every verb that needs no log for an answer that cannot be written: the
// fault is the machine's, exit 1, and is not swallowed.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	const hip = "../../testdata/takeoff/l-hip.json"
	const city = "../../testdata/roofs/analytic.city.jsonl"
	for _, args := range [][]string{
		{"calc", "slope-factor", "pitch=6/12"},
		{"takeoff", hip},
		{"roof", "import", city},
		{"roof", "import", city, "--building", "analytic-01-gable-12x8-6in12"},
		{"cutplan", "-"},
		{"weather", "read", "../../testdata/weather/bmx-2024-02-20/gridpoint.json"},
		{"weather", "sun", "--lat", "40.7", "--lon", "-74.0", "--date", "2026-03-20", "--zone", "America/New_York"},
	} {
		for _, more := range [][]string{nil, {"--json"}} {
			var errs bytes.Buffer
			call := append(append([]string{}, args...), more...)
			plan := strings.NewReader(`{"stock":[{"length":10}],"pieces":[{"mark":"a","length":4}]}`)
			if code := run(call, plan, fullDisk{}, &errs); code != 1 || !strings.Contains(errs.String(), "no space left") {
				t.Errorf("%q exits %d, want 1, saying %q", call, code, errs.String())
			}
		}
	}
}
