// Package deploy_test checks what the program is built of and what it is run with.
package deploy_test

import (
	"bytes"
	"crypto/sha256"
	"debug/buildinfo"
	"encoding/json/v2"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

const root = ".."

// goTool runs the go command in a directory and gives what it prints.
func goTool(t *testing.T, dir string, args ...string) []byte {
	t.Helper()
	c := exec.CommandContext(t.Context(), "go", args...)
	c.Dir = dir
	c.Env = append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=-mod=readonly")
	var errs bytes.Buffer
	c.Stderr = &errs
	out, err := c.Output()
	if err != nil {
		t.Fatalf("go %s: %v\n%s", strings.Join(args, " "), err, errs.String())
	}
	return out
}

var built struct {
	once sync.Once
	dir  string
}

func TestMain(m *testing.M) {
	code := m.Run()
	if built.dir != "" {
		if err := os.RemoveAll(built.dir); err != nil {
			panic(err)
		}
	}
	os.Exit(code)
}

// release builds the program as the Makefile does, once for all tests, out of a copy of
// the sources in another directory.
func release(t *testing.T) string {
	t.Helper()
	built.once.Do(func() {
		dir, err := os.MkdirTemp("", "bydark-release-")
		if err != nil {
			t.Fatal(err)
		}
		built.dir = dir
		copySources(t, filepath.Join(dir, "src"))
		build(t, filepath.Join(dir, "src"), filepath.Join(dir, "bydark"))
	})
	return filepath.Join(built.dir, "bydark")
}

func build(t *testing.T, src, to string) {
	t.Helper()
	goTool(t, src, "build", "-trimpath", "-buildvcs=false", "-o", to, "./cmd/bydark")
}

// copySources copies what the build reads.
func copySources(t *testing.T, to string) {
	t.Helper()
	for _, top := range []string{"cmd", "events", "projections", "services"} {
		err := filepath.WalkDir(filepath.Join(root, top), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") {
				return err
			}
			rel, err := filepath.Rel(root, path)
			if err != nil {
				return err
			}
			return copyFile(path, filepath.Join(to, rel))
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"go.mod", "go.sum"} {
		if err := copyFile(filepath.Join(root, name), filepath.Join(to, name)); err != nil {
			t.Fatal(err)
		}
	}
}

func copyFile(from, to string) error {
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	return os.WriteFile(to, data, 0o600)
}

// C2, C4: two directories, one program, built by the Go that the Makefile names. The
// compiled packages are shared here; `make reproduce` builds twice from nothing.
func TestReleaseIsReproducible(t *testing.T) {
	t.Parallel()
	other := filepath.Join(t.TempDir(), "bydark")
	build(t, root, other)
	if a, b := sum(t, release(t)), sum(t, other); a != b {
		t.Errorf("two builds differ: %x and %x", a, b)
	}
	info, err := buildinfo.ReadFile(other)
	if err != nil {
		t.Fatal(err)
	}
	makefile, err := os.ReadFile(filepath.Join(root, "Makefile"))
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`(?m)^export GOTOOLCHAIN := (go\S+)$`).FindSubmatch(makefile)
	if named == nil || string(named[1]) != info.GoVersion {
		t.Errorf("built by %s, and the Makefile names %q", info.GoVersion, named)
	}
}

func sum(t *testing.T, file string) [32]byte {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return sha256.Sum256(data)
}

// C5: the bill of materials follows the standard's schema, is the same every time, and
// names the modules of the binary and no others.
func TestBillOfMaterials(t *testing.T) {
	t.Parallel()
	first, second := sbom(t), sbom(t)
	if !bytes.Equal(first, second) {
		t.Error("two bills of one program differ")
	}
	var doc any
	if err := json.Unmarshal(first, &doc); err != nil {
		t.Fatal(err)
	}
	if err := schema(t).Validate(doc); err != nil {
		t.Errorf("the bill does not follow CycloneDX 1.6: %v", err)
	}
	var listed struct {
		Components []struct{ Name, Version string }
	}
	if err := json.Unmarshal(first, &listed, json.MatchCaseInsensitiveNames(true)); err != nil {
		t.Fatal(err)
	}
	in := map[string]string{}
	for _, c := range listed.Components {
		in[c.Name] = c.Version
	}
	info, err := buildinfo.ReadFile(release(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range info.Deps {
		if in[m.Path] != m.Version {
			t.Errorf("%s %s is linked, and the bill says %q", m.Path, m.Version, in[m.Path])
		}
		delete(in, m.Path)
	}
	if "go"+in["std"] != info.GoVersion || len(in) != 1 {
		t.Errorf("the bill lists what is not linked: %v", in)
	}
}

func sbom(t *testing.T) []byte {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), release(t), "version", "--sbom").Output()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func schema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	compiler := jsonschema.NewCompiler()
	for _, name := range []string{"bom-1.6", "spdx", "jsf-0.82"} {
		text, err := os.Open(filepath.Join(root, "testdata/cyclonedx", name+".SNAPSHOT.schema.json"))
		if err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(text)
		if err := text.Close(); err != nil {
			t.Fatal(err)
		}
		if err != nil {
			t.Fatal(err)
		}
		if err := compiler.AddResource("http://cyclonedx.org/schema/"+name+".SNAPSHOT.schema.json", doc); err != nil {
			t.Fatal(err)
		}
	}
	s, err := compiler.Compile("http://cyclonedx.org/schema/bom-1.6.SNAPSHOT.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}
