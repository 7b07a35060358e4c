package assembly_test

import (
	"strings"
	"sync"
	"testing"

	"bydark/services/assembly"
)

// A shelf gives one assembly for one document, whoever asks, and what Read says of one that it refuses; it forgets the oldest.
func TestShelf(t *testing.T) {
	var shelf assembly.Shelf
	name := assembly.Shipped()[0]
	doc, err := assembly.Document(name)
	if err != nil {
		t.Fatal(err)
	}
	read := func(doc []byte) *assembly.Assembly {
		a, err := shelf.Read(doc)
		if err != nil {
			t.Error(err)
		}
		return a
	}
	first := read(doc)
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			if read(doc) != first {
				t.Error("a document was read twice")
			}
		})
	}
	all.Wait()
	for n := range 70 {
		read([]byte(strings.Repeat(" ", n+1) + string(doc)))
	}
	if again := read(doc); again == first || again.Name != first.Name {
		t.Errorf("after many others the first is %p, %s; was %p, %s", again, again.Name, first, first.Name)
	}
	_, want := assembly.Read([]byte(`{}`))
	if _, got := shelf.Read([]byte(`{}`)); got == nil || got.Error() != want.Error() {
		t.Errorf("a bad document gives %v, want %v", got, want)
	}
}
