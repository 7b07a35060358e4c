package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// test is one that names numbers of faults (F) or attacks (S) in its comment.
type test struct {
	dir, name string
	numbers   []string
	// repeats says that it asks how many rounds it is to run, or draws cases.
	repeats bool
}

// called is its name; that of a fuzz target with its package, since many are called alike.
func (t test) called() string {
	if t.fuzzes() {
		return path.Base(t.dir) + "." + t.name
	}
	return t.name
}

// fuzzes says that it is a fuzz target.
func (t test) fuzzes() bool { return strings.HasPrefix(t.name, "Fuzz") }

// named is a number, or a run of them such as F12-F14. S16.5.3 is a number of somebody
// else's list.
var named = regexp.MustCompile(`\b([FS])(\d\d)(?:(?:-| to )[FS]?(\d\d))?\b(?:\.\d)?`)

// numbersIn are the numbers that a comment names.
func numbersIn(comment string) []string {
	var all []string
	for _, m := range named.FindAllStringSubmatch(comment, -1) {
		if strings.Contains(m[0], ".") {
			continue
		}
		last := max(m[2], m[3])
		for n := m[2]; n <= last; n = next(n) {
			all = append(all, m[1]+n)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// next is the number after one of two digits.
func next(n string) string {
	if n[1] < '9' {
		return n[:1] + string(n[1]+1)
	}
	return string(n[0]+1) + "0"
}

// testsIn finds the tests of a tree that name numbers.
func testsIn(top string) ([]test, error) {
	var all []test
	err := filepath.WalkDir(top, func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(file, "_test.go") {
			return err
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, decl := range tree.Decls {
			f, ok := decl.(*ast.FuncDecl)
			if !ok || f.Recv != nil || f.Doc == nil || !strings.HasPrefix(f.Name.Name, "Test") && !strings.HasPrefix(f.Name.Name, "Fuzz") || f.Name.Name == "TestMain" {
				continue
			}
			if numbers := numbersIn(f.Doc.Text()); len(numbers) > 0 {
				rel, err := filepath.Rel(top, filepath.Dir(file))
				if err != nil {
					return err
				}
				all = append(all, test{filepath.ToSlash(rel), f.Name.Name, numbers, repeats(f)})
			}
		}
		return nil
	})
	return all, err
}

// repeats says whether a test asks for its rounds, or has a library draw cases.
func repeats(f *ast.FuncDecl) (yes bool) {
	ast.Inspect(f.Body, func(n ast.Node) bool {
		if call, ok := n.(*ast.CallExpr); ok {
			if name, ok := call.Fun.(*ast.SelectorExpr); ok {
				of, _ := name.X.(*ast.Ident)
				yes = yes || name.Sel.Name == "Rounds" || of != nil && of.Name == "rapid" && name.Sel.Name == "Check"
			}
		}
		return !yes
	})
	return yes
}

// row is one line of the table: number, what happens, rounds of a full run, and the
// tests that have it, or why none can.
type row struct {
	number, fault, rounds, tests string
}

var line = regexp.MustCompile(`(?m)^\| ([FS]\d\d) \| ([^|]*?) \| ([^|]*?) ?\| ([^|]*?) \|$`)

func rowsOf(page []byte) []row {
	var all []row
	for _, m := range line.FindAllSubmatch(page, -1) {
		all = append(all, row{string(m[1]), string(m[2]), string(m[3]), string(m[4])})
	}
	return all
}

// renewed is the page with each number's tests as they are now. What they leave out, after
// "; not: ", stays, and so does the reason where there is no test.
func renewed(page []byte, found []test) []byte {
	return line.ReplaceAllFunc(page, func(old []byte) []byte {
		r := rowsOf(old)[0]
		var tests []string
		for _, f := range found {
			if slices.Contains(f.numbers, r.number) {
				tests = append(tests, "`"+f.called()+"`")
			}
		}
		if _, part, _ := strings.Cut(r.tests, "; not: "); len(tests) > 0 {
			r.tests = strings.Join(tests, ", ")
			if part != "" {
				r.tests += "; not: " + part
			}
		}
		return fmt.Appendf(nil, "| %s | %s | %s | %s |", r.number, r.fault, r.rounds, r.tests)
	})
}
