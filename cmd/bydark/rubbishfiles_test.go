package main

import (
	"bytes"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"bydark/events/journal/journaltest"
	"bydark/services/assembly"
	"bydark/services/cutplan"
	"bydark/services/roof"
	"bydark/services/weather"
)

// allocated is how many bytes a function allocates in all, freed or not: a bound on its peak that does not depend on the machine.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// S40: imports that are rubbish, or far too much, are refused for little: 100 MB, ten million vertices, XML with entities that unfold, numbers
// that are none. Nothing here reads XML, so that its entities never unfold. It is not parallel: it counts what the process allocates.
func TestImportsThatAreTooMuch(t *testing.T) {
	laughs := `<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha">` + strings.Repeat(`<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">`, 20) + `]><CityModel>&b;</CityModel>`
	const million = 1 << 20
	many := roof.MaxCityVertices + 1
	if journaltest.Rounds(t, 1) > 1 { // the whole of it, which the race detector makes slow
		many = 10_000_000
	}
	vertices := func(n int, vertex string) string {
		return `{"type":"CityJSON","version":"2.0","CityObjects":{},"vertices":[` + strings.Repeat(vertex+",", n) + vertex + `]}`
	}
	rubbish := map[string]string{
		"nothing": "", "XML": laughs, "100 MB of spaces": strings.Repeat(" ", 100*million), "100 MB of zeros": strings.Repeat("\x00", 100*million),
		"100 MB of brackets": strings.Repeat("[", 100*million), "NaN": `{"name":NaN}`, "infinity": `{"planes":[{"mark":"A","outline":[[1e999,0]]}]}`,
		"too many vertices": vertices(many, "[0,0,0]"), "vertices that are none": vertices(3, "[NaN,0,0]"), "vertices beyond all": vertices(3, "[1e308,-1e308,1e308]"),
	}
	readers := map[string]func([]byte) error{
		"roof file": func(b []byte) error { _, err := roof.Read(b); return err },
		"CityJSON":  func(b []byte) error { _, err := roof.CityBuildings(b); return err },
		"assembly":  func(b []byte) error { _, err := assembly.Read(b); return err },
		"forecast":  func(b []byte) error { _, err := weather.Read(b); return err },
		"cuts":      func(b []byte) error { _, err := cutplan.Read(b); return err },
	}
	for what, text := range rubbish {
		data := []byte(text)
		for name, read := range readers {
			var err error
			if n := allocated(func() { err = read(data) }); n > 200*million {
				t.Errorf("%s as a %s allocates %d MB", what, name, n/million)
			}
			if err == nil && !(name == "CityJSON" && strings.HasPrefix(what, "vertices")) { // a city without buildings
				t.Errorf("%s is taken for a %s", what, name)
			}
		}
	}
	var out, errs bytes.Buffer
	if code := run([]string{"roof", "import", "-"}, strings.NewReader(laughs), &out, &errs); code != 2 || strings.Count(errs.String(), "\n") != 1 {
		t.Errorf("roof import ends with %d: %s", code, fmt.Sprint(out.String(), errs.String()))
	}
}
