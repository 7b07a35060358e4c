package assembly

import (
	"embed"
	"slices"
	"strings"

	"bydark/events"
)

//go:embed shipped/*.json
var shipped embed.FS

//go:embed schema.json
var schema []byte

// Schema is the JSON schema of an assembly's document, draft 2020-12.
func Schema() []byte { return slices.Clone(schema) }

// Shipped lists the assemblies that come with the program, by name, sorted.
func Shipped() []string {
	entries, err := shipped.ReadDir("shipped")
	if err != nil {
		panic("assembly: the embedded folder is gone: " + err.Error())
	}
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".json"))
	}
	return names
}

// Document is the document of a shipped assembly. A name that none has gives an
// *events.Refusal.
func Document(name string) ([]byte, error) {
	if !slices.Contains(Shipped(), name) {
		return nil, &events.Refusal{Code: "unknown-assembly", Was: name, Want: "one of " + strings.Join(Shipped(), ", ") + ", or an assembly's document"}
	}
	return shipped.ReadFile("shipped/" + name + ".json")
}
