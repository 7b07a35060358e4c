package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// rungs says which packages may import which: a package imports lower rungs only.
// Packages of one rung do not know each other.
var rungs = map[string]int{
	"events/quantity": 0,
	"events":          10, "services/roof": 11, "services/windzone": 11, "services/assembly": 12,
	"services/squareness": 20, "services/burn": 20, "services/cutplan": 20, "services/weather": 20, "services/takeoff": 21,
	"services/cutsheet": 21,
	"services/tonight":  30, "events/journal": 31, "events/journal/faultfs": 31, "events/journal/journaltest": 32,
	"projections": 40, "services/roofjob": 40, "services/access": 40, "services/photos": 40, "projections/projectiontest": 41,
	"services/night": 45, "services/sky": 50, "services/cutlist": 50,
	"projections/ledger": 51, "projections/exposure": 51, "projections/punch": 51, "projections/checklist": 51, "projections/record": 51, "projections/evidence": 51,
	"projections/board": 52,
	"services/watch":    60, "services/courier": 60, "services/closeout": 60,
	"services/facade": 70,
	"cmd/bydark":      80,
}

// planned are packages of the design that later issues bring; a package that is there
// does not belong here.
var planned = []string{"services/closeout"}

// never are edges that the rungs would permit and the design does not, each with its
// reason.
var never = []struct{ from, to, because string }{
	{"events/journal", "events", "the log keeps bytes: it must be able to hold events that this release does not know"},
	{"projections", "events", "the runner folds what it is given and knows no event"},
	{"projections", "services/roofjob", "the runner is given its fold by cmd"},
	{"services/roofjob", "projections", "a decision is made from the log, never from a table that may lag behind it"},
	{"services/access", "projections", "who may come in is decided from the log, never from a table that may lag behind it"},
	{"services/tonight", "services/roofjob", "the plan is arithmetic over candidates; roofjob makes them"},
	{"services/tonight", "services/weather", "the hours come in as an argument, so that a plan can be asked for any night"},
	{"services/takeoff", "services/cutplan", "an estimate counts what is needed; how it is cut is another question"},
	{"services/facade", "services/burn", "the burn reaches the door through its view"},
}

// outside are packages that pure files do not import: no input or output, no clock of
// their own, no broker, no database, no log.
var outside = []string{
	"os", "net", "net/http", "database/sql", "log", "log/slog", "io/fs", "os/exec", "syscall",
	"github.com/nats-io", "github.com/jmoiron/sqlx", "github.com/danielgtaylor/huma", "crypto/rand", "math/rand", "math/rand/v2",
}

// pure are the packages whose every file is pure, and in the others the files that are.
var pure = map[string]string{
	"events/quantity": "*", "events": "*", "services/roof": "*", "services/assembly": "*", "services/takeoff": "*", "services/cutplan": "*",
	"services/weather": "*", "services/windzone": "*", "services/tonight": "*", "services/night": "*", "services/squareness": "*", "services/burn": "*",
	"services/cutlist": "*", "services/cutsheet": "*",
	"services/roofjob": "decide*.go", "services/watch": "decide*.go",
}

// source is one file that is compiled into the program.
type source struct {
	file    string
	pack    string
	imports []string
	tree    *ast.File
}

// sources are all files of the module but the tests.
func sources(t *testing.T) []source {
	t.Helper()
	const root = "../.."
	var all []source
	for _, top := range []string{"cmd", "events", "services", "projections"} {
		err := filepath.WalkDir(filepath.Join(root, top), func(file string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
				return err
			}
			tree, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			rel, err := filepath.Rel(root, file)
			if err != nil {
				return err
			}
			s := source{file: filepath.ToSlash(rel), pack: path.Dir(filepath.ToSlash(rel)), tree: tree}
			for _, i := range tree.Imports {
				name, err := strconv.Unquote(i.Path.Value)
				if err != nil {
					return err
				}
				s.imports = append(s.imports, name)
			}
			all = append(all, s)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return all
}

func TestPackagesImportLowerRungs(t *testing.T) {
	t.Parallel()
	there := map[string]bool{}
	for _, s := range sources(t) {
		there[s.pack] = true
		rung, ok := rungs[s.pack]
		if !ok {
			t.Errorf("%s: package %s stands on no rung; give it one in rungs", s.file, s.pack)
			continue
		}
		for _, name := range s.imports {
			name, ours := strings.CutPrefix(name, "bydark/")
			if !ours {
				continue
			}
			if below, ok := rungs[name]; !ok || below >= rung {
				t.Errorf("%s imports %s, which stands on rung %d and not below %d", s.file, name, below, rung)
			}
			for _, edge := range never {
				if edge.from == s.pack && edge.to == name {
					t.Errorf("%s imports %s: %s", s.file, name, edge.because)
				}
			}
		}
	}
	for name := range rungs {
		if there[name] == slices.Contains(planned, name) {
			t.Errorf("package %s: there is %v, planned is %v", name, there[name], !there[name])
		}
	}
	for _, edge := range never {
		for _, name := range []string{edge.from, edge.to} {
			if !there[name] {
				t.Errorf("the edge from %s to %s names %s, which is gone", edge.from, edge.to, name)
			}
		}
	}
}

func TestPureFilesStayPure(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, s := range sources(t) {
		match, err := path.Match(pure[s.pack], path.Base(s.file))
		if err != nil {
			t.Fatal(err)
		}
		if !match {
			continue
		}
		seen[s.pack] = true
		for _, name := range s.imports {
			for _, bad := range outside {
				if name == bad || strings.HasPrefix(name, bad+"/") && strings.Contains(bad, ".") {
					t.Errorf("%s is pure and imports %s", s.file, name)
				}
			}
		}
		ast.Inspect(s.tree, func(n ast.Node) bool {
			if _, ok := n.(*ast.GoStmt); ok {
				t.Errorf("%s is pure and starts a goroutine", s.file)
			}
			return true
		})
	}
	for _, name := range slices.Sorted(maps.Keys(pure)) {
		if !seen[name] {
			t.Errorf("no file %s in %s, which has to be pure", pure[name], name)
		}
	}
}

// One clock and one die: cmd hands both out. The log's and the tests' own rigs, which
// wait for a broker that lives by the wall clock, are the exceptions.
func TestOneClock(t *testing.T) {
	t.Parallel()
	asks := map[string]string{
		"cmd/bydark/":                 "the program's clock",
		"events/journal/faultfs/":     "a rig of tests",
		"events/journal/figures.go":   "a stopwatch for figures; nothing is decided by it",
		"events/journal/journaltest/": "a rig of tests",
		"projections/projectiontest/": "a rig of tests",
	}
	used := map[string]bool{}
	for _, s := range sources(t) {
		for _, name := range s.imports {
			if name == "math/rand" || name == "math/rand/v2" {
				if at := exempt(asks, s.file); at == "" {
					t.Errorf("%s imports %s: chance comes in as an argument", s.file, name)
				}
			}
		}
		ast.Inspect(s.tree, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if from, ok := sel.X.(*ast.Ident); ok && from.Name == "time" && (sel.Sel.Name == "Now" || sel.Sel.Name == "Since" || sel.Sel.Name == "Until") {
				at := exempt(asks, s.file)
				used[at] = true
				if at == "" {
					t.Errorf("%s asks time.%s: the time comes in as an argument", s.file, sel.Sel.Name)
				}
			}
			return true
		})
	}
	if !used["cmd/bydark/"] {
		t.Error("cmd/bydark no longer asks the clock: where does it come from?")
	}
}

func exempt(asks map[string]string, file string) string {
	for at := range asks {
		if strings.HasPrefix(file, at) {
			return at
		}
	}
	return ""
}
