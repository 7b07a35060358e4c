package main

import (
	"encoding/json/v2"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// init makes the test binary the program itself when it is called by the program's name,
// as the scripts do by a link.
func init() {
	if filepath.Base(os.Args[0]) == "bydark" {
		main()
	}
}

// TestScript runs the program as people do, one script a verb. $DATA is the project's
// testdata.
func TestScript(t *testing.T) {
	data, err := filepath.Abs(filepath.Join("..", "..", "testdata"))
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	bin := t.TempDir()
	if err := os.Symlink(self, filepath.Join(bin, "bydark")); err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("testdata", "script"),
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("DATA", data)
			e.Setenv("PATH", bin+string(filepath.ListSeparator)+e.Getenv("PATH"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"refuses": refuses, "answer": answer, "clock": clock,
		},
	})
}

// refuses PROGRAM ARGS...: exit code 2, one line on standard error, nothing on standard
// output.
func refuses(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: refuses program args...")
	}
	err := ts.Exec(args[0], args[1:]...)
	exit, ok := errors.AsType[*exec.ExitError](err)
	if !ok || exit.ExitCode() != 2 {
		ts.Fatalf("ended with %v; want exit code 2", err)
	}
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("said on standard output: %s", out)
	}
	if said := ts.ReadFile("stderr"); strings.Count(said, "\n") != 1 || !strings.HasPrefix(said, "bydark: ") || !strings.HasSuffix(said, "\n") {
		ts.Fatalf("want one line on standard error")
	}
}

// answer POINTER WANT [TOLERANCE]: standard output is one JSON document, and what stands
// at the pointer is WANT, a number to within the tolerance.
func answer(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 || len(args) > 3 {
		ts.Fatalf("usage: answer pointer want [tolerance]")
	}
	switch got := at(ts, args[0]).(type) {
	case float64:
		tolerance := 0.0
		if len(args) == 3 {
			tolerance = number(ts, args[2])
		}
		if want := number(ts, args[1]); !(math.Abs(got-want) <= tolerance) {
			ts.Fatalf("%s is %v, want %v within %v", args[0], got, want, tolerance)
		}
	case string:
		if got != args[1] {
			ts.Fatalf("%s is %q, want %q", args[0], got, args[1])
		}
	default:
		text, err := json.Marshal(got, json.Deterministic(true))
		ts.Check(err)
		if string(text) != args[1] {
			ts.Fatalf("%s is %s, want %s", args[0], text, args[1])
		}
	}
}

// clock POINTER TIME SECONDS: the time at the pointer is TIME, to within the seconds.
func clock(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: clock pointer time seconds")
	}
	text, ok := at(ts, args[0]).(string)
	if !ok {
		ts.Fatalf("%s is no time", args[0])
	}
	got, err := time.Parse(time.RFC3339, text)
	ts.Check(err)
	want, err := time.Parse(time.RFC3339, args[1])
	ts.Check(err)
	if off := got.Sub(want).Abs().Seconds(); off > number(ts, args[2]) {
		ts.Fatalf("%s is %s, want %s within %s s", args[0], text, args[1], args[2])
	}
	if got.Format("-07:00") != want.Format("-07:00") {
		ts.Fatalf("%s is %s, want it in the zone of %s", args[0], text, args[1])
	}
}

func number(ts *testscript.TestScript, text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	ts.Check(err)
	return v
}

// at looks into the one document on standard output.
func at(ts *testscript.TestScript, pointer string) any {
	var v any
	if err := json.Unmarshal([]byte(ts.ReadFile("stdout")), &v); err != nil {
		ts.Fatalf("standard output is not one JSON document: %v", err)
	}
	for _, step := range strings.Split(pointer, "/")[1:] {
		ok := false
		switch in := v.(type) {
		case map[string]any:
			v, ok = in[step]
		case []any:
			n, err := strconv.Atoi(step)
			if ok = err == nil && n >= 0 && n < len(in); ok {
				v = in[n]
			}
		}
		if !ok {
			ts.Fatalf("%s: nothing at %s", pointer, step)
		}
	}
	return v
}
