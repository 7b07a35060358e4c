package takeoff_test

import (
	"testing"

	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

func shipped(t testing.TB, name string) *assembly.Assembly {
	t.Helper()
	doc, err := assembly.Document(name)
	if err != nil {
		t.Fatal(err)
	}
	a, err := assembly.Read(doc)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func read(t testing.TB, doc string) *roof.Roof {
	t.Helper()
	r, err := roof.Read([]byte(doc))
	if err != nil {
		t.Fatalf("%v in %.200s", err, doc)
	}
	return r
}

func of(t testing.TB, doc, name string) *takeoff.Estimate {
	t.Helper()
	e, err := takeoff.Of(read(t, doc), shipped(t, name))
	if err != nil {
		t.Fatal(err)
	}
	return e
}
