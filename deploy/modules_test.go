package deploy_test

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/licensecheck"
)

// module is one that the go command knows of.
type module struct {
	Path, Version, Dir string
	Main, Indirect     bool
	Replace            *struct{}
}

// linked are the modules whose packages the program and its tests are built of.
func linked(t *testing.T) map[string]module {
	t.Helper()
	all := map[string]module{}
	in := jsontext.NewDecoder(strings.NewReader(string(goTool(t, root, "list", "-deps", "-test", "-json=Module", "./..."))))
	for {
		var p struct{ Module *module }
		err := json.UnmarshalDecode(in, &p, json.MatchCaseInsensitiveNames(true))
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		if p.Module != nil && !p.Module.Main {
			all[p.Module.Path] = *p.Module
		}
	}
}

// good are the licences that may be in the program. FTL is the FreeType project's,
// MPL-2.0 asks for the sources of its own files only.
var good = []string{"MIT", "BSD-2-Clause", "BSD-3-Clause", "Apache-2.0", "ISC", "0BSD", "MPL-2.0", "FTL", "CC0-1.0", "Unlicense", "Zlib"}

// C3: nothing replaced, nothing fetched past the checksum database, and what lies in
// the module cache is what go.sum says.
func TestModulesAreWhole(t *testing.T) {
	t.Parallel()
	if said := string(goTool(t, root, "mod", "verify")); !strings.Contains(said, "all modules verified") {
		t.Errorf("go mod verify: %s", said)
	}
	for _, name := range []string{"GONOSUMDB", "GONOSUMCHECK", "GOINSECURE", "GOPRIVATE"} {
		if set := strings.TrimSpace(string(goTool(t, root, "env", name))); set != "" {
			t.Errorf("%s is %q", name, set)
		}
	}
	for _, m := range linked(t) {
		if m.Replace != nil {
			t.Errorf("%s is replaced", m.Path)
		}
	}
}

// C6: every module that go.mod asks for has its reason in MODULES.md, and every module
// that is linked has a licence on the list of good ones.
func TestModulesAreKnown(t *testing.T) {
	t.Parallel()
	page, err := os.ReadFile("MODULES.md")
	if err != nil {
		t.Fatal(err)
	}
	reasons := map[string]string{}
	for _, row := range regexp.MustCompile("(?m)^\\| `(\\S+)` \\| ([^|]+) \\| ([^|]+) \\|$").FindAllStringSubmatch(string(page), -1) {
		reasons[row[1]] = strings.TrimSpace(row[2])
	}
	asked := map[string]bool{}
	for path, m := range linked(t) {
		licences := licencesOf(t, m.Dir)
		for _, l := range licences {
			if !slices.Contains(good, l) {
				t.Errorf("%s is under %s, which is not on the list of good licences", path, l)
			}
		}
		if len(licences) == 0 {
			t.Errorf("%s has no licence that is known", path)
		}
		if m.Indirect {
			continue
		}
		asked[path] = true
		if said := strings.Join(licences, ", "); reasons[path] != said {
			t.Errorf("MODULES.md says %q of %s; its licence is %s: give it a row with the licence and the reason", reasons[path], path, said)
		}
	}
	for path := range reasons {
		if !asked[path] {
			t.Errorf("MODULES.md has a row for %s, which go.mod does not ask for", path)
		}
	}
}

// licencesOf finds the licences of a module by the text of its files.
func licencesOf(t *testing.T, dir string) []string {
	t.Helper()
	var found []string
	for _, pattern := range []string{"LICEN[CS]E*", "COPYING*", "licen[cs]e*"} {
		files, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if info, err := os.Stat(file); err != nil || info.IsDir() {
				continue
			}
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range licensecheck.Scan(text).Match {
				if !m.IsURL {
					found = append(found, m.ID)
				}
			}
		}
	}
	slices.Sort(found)
	return slices.Compact(found)
}
