package main

import (
	"errors"
	"fmt"
	"net/url"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
)

type versionVerb struct {
	SBOM bool `name:"sbom" help:"Print what the program is built of instead, as a CycloneDX 1.6 document."`
}

func (v versionVerb) Run(p *program) error {
	if !v.SBOM {
		_, err := fmt.Fprintf(p.out, "bydark %s, %s\n", version(), runtime.Version())
		return err
	}
	built, ok := debug.ReadBuildInfo()
	if !ok {
		return errors.New("this program was built without a note of its modules")
	}
	return p.print(materials(built))
}

func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "devel"
}

// bill is a CycloneDX 1.6 bill of materials (ECMA-424), as far as a Go program has
// something to say: no time and no serial number, so that one program has one bill.
type bill struct {
	Format     string      `json:"bomFormat"`
	Spec       string      `json:"specVersion"`
	Version    int         `json:"version"`
	Metadata   about       `json:"metadata"`
	Components []component `json:"components"`
}

type about struct {
	Component component `json:"component"`
}

type component struct {
	Type       string     `json:"type"`
	Ref        string     `json:"bom-ref"`
	Name       string     `json:"name"`
	Version    string     `json:"version,omitempty"`
	URL        string     `json:"purl,omitempty"`
	Properties []property `json:"properties,omitempty"`
}

type property struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// materials is the bill of a program: every module that is linked into it, with the sum
// that go.sum holds, and the standard library.
func materials(built *debug.BuildInfo) bill {
	b := bill{Format: "CycloneDX", Spec: "1.6", Version: 1, Metadata: about{part("application", built.Main.Path, version(), "")}}
	for _, m := range built.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		b.Components = append(b.Components, part("library", m.Path, m.Version, m.Sum))
	}
	b.Components = append(b.Components, part("library", "std", strings.TrimPrefix(built.GoVersion, "go"), ""))
	slices.SortFunc(b.Components, func(x, y component) int { return strings.Compare(x.Ref, y.Ref) })
	return b
}

// part is one component; its reference is its package URL, as purl-spec's type golang
// writes it.
func part(kind, path, version, sum string) component {
	at := "pkg:golang/" + path + "@" + url.PathEscape(version)
	c := component{Type: kind, Ref: at, Name: path, Version: version, URL: at}
	if sum != "" {
		c.Properties = []property{{"go:sum", sum}}
	}
	return c
}
