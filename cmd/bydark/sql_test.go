package main

import (
	"go/ast"
	"go/token"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"bydark/services/access"
)

// builds are the files that put SQL together, each with why no word of a user can be in
// it. Everywhere else a statement is one constant.
var builds = map[string]string{
	"projections/dialect.go":                 "names of our own tables and columns, quoted",
	"projections/documents.go":               "names of our own tables",
	"projections/dump.go":                    "names of our own tables and columns",
	"projections/record/record.go":           "one of two tables of our own",
	"projections/projectiontest/postgres.go": "names of databases that the rig numbers",
}

var statement = regexp.MustCompile(`(?is)^\s*(select|insert|update|delete|create|drop|alter|copy|truncate|savepoint|release|rollback)\s`)

// S11: no statement is put together from what somebody sent.
func TestStatementsAreConstants(t *testing.T) {
	t.Parallel()
	used := map[string]bool{}
	for _, s := range sources(t) {
		ast.Inspect(s.tree, func(n ast.Node) bool {
			var parts []ast.Expr
			switch n := n.(type) {
			case *ast.BinaryExpr:
				if n.Op == token.ADD {
					parts = terms(n)
				}
			case *ast.CallExpr:
				if f, ok := n.Fun.(*ast.SelectorExpr); ok && (f.Sel.Name == "Sprintf" || f.Sel.Name == "Appendf" || f.Sel.Name == "Fprintf") {
					parts = n.Args
				}
			}
			text, varies := "", false
			for _, p := range parts {
				if l, ok := p.(*ast.BasicLit); ok && l.Kind == token.STRING {
					word, err := strconv.Unquote(l.Value)
					if err != nil {
						t.Fatal(err)
					}
					if text == "" {
						text = word
					}
					continue
				}
				varies = true
			}
			if varies && statement.MatchString(text) {
				used[s.file] = true
				if builds[s.file] == "" {
					t.Errorf("%s puts a statement together: %.60q", s.file, text)
				}
			}
			return true
		})
	}
	for file := range builds {
		if !used[file] {
			t.Errorf("%s puts no statement together; take it off the list", file)
		}
	}
}

// terms are what is added up.
func terms(e ast.Expr) []ast.Expr {
	if b, ok := e.(*ast.BinaryExpr); ok && b.Op == token.ADD {
		return append(terms(b.X), terms(b.Y)...)
	}
	return []ast.Expr{e}
}

// S11: what would be SQL is words: it is kept, shown as it was written, and harms nothing.
func TestWordsAreNoStatements(t *testing.T) {
	t.Parallel()
	r := start(t)
	r.crew.open("barn")
	var payloads []string
	for _, quote := range []string{"'", `"`, "`", "''", `\'`, "%27", "$$", "�"} {
		for _, rest := range []string{"", " or 1=1 --", "; drop table punch; --", ") union select * from record --", " /* ", "||(select 1)||", "; copy record to program 'true'", " $1 ? :name", "%' like '_"} {
			payloads = append(payloads, quote+rest)
		}
	}
	var reports []roofReport
	for i, p := range payloads {
		reports = append(reports, tell("sql"+strconv.Itoa(i), "punch-raised", i, roofReport{"where": "A", "what": p, "blocks": "nothing"}))
	}
	last := r.crew.accept("barn", reports...)
	_, shown := r.crew.ask(http.MethodGet, "/v1/jobs/barn/punch?after="+strconv.FormatUint(last, 10), r.crew.tokens[access.Owner], "")
	doc, _ := docOf(t, []byte(shown)).(map[string]any)
	items, _ := doc["items"].([]any)
	seen := map[string]bool{}
	for _, item := range items {
		row, _ := item.(map[string]any)
		what, _ := row["what"].(string)
		seen[what] = true
	}
	for _, p := range payloads {
		if !seen[p] {
			t.Errorf("%q is not shown as it was written", p)
		}
	}
	for _, query := range []string{"at", "known", "after", "cursor"} {
		for _, p := range payloads[:12] {
			if status, text := r.crew.ask(http.MethodGet, "/v1/jobs/barn/record?"+query+"="+strings.NewReplacer(" ", "+", "%", "%25", ";", "%3B", "#", "%23").Replace(p), r.crew.tokens[access.Owner], ""); status < 400 || status >= 500 {
				t.Errorf("%s=%s: %d %s", query, p, status, text)
			}
		}
	}
	if status, _ := r.crew.ask(http.MethodGet, "/v1/jobs/barn/record", r.crew.tokens[access.Owner], ""); status != http.StatusOK {
		t.Errorf("afterwards: %d", status)
	}
}
