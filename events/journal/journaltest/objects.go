package journaltest

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"slices"
	"sync"
	"testing"

	"bydark/events/journal"
)

// objects are stored once, read whole, listed, and taken away.
func objects(t *testing.T, k Kind) {
	j := k.Start(t)(t)
	chance := Seed(t)
	var put []journal.Digest
	for _, size := range []int{0, 1, 300_000, 512 << 10, 512<<10 + 1, 3 << 20} {
		data := make([]byte, size)
		for i := range data {
			data[i] = byte(chance.Uint32())
		}
		var group sync.WaitGroup
		for range 4 { // at once, and every one of them may go on
			group.Go(func() {
				d, err := j.PutObject(t.Context(), data)
				if err != nil || d != journal.Digest(sha256.Sum256(data)) {
					t.Errorf("put %d bytes: %v, %v", size, d, err)
				}
				if got, err := j.Object(t.Context(), d); err != nil || !bytes.Equal(got, data) {
					t.Errorf("%d bytes came back as %d: %v", size, len(got), err)
				}
			})
		}
		group.Wait()
		put = append(put, sha256.Sum256(data))
	}
	if _, err := j.Object(t.Context(), journal.Digest{1}); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("an object that is not there: %v", err)
	}
	listed, err := j.Objects(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ordered := slices.SortedFunc(slices.Values(put), func(a, b journal.Digest) int { return bytes.Compare(a[:], b[:]) })
	if !slices.EqualFunc(listed, ordered, func(o journal.Object, d journal.Digest) bool { return o.Digest == d && o.Whole }) {
		t.Errorf("listed %v, want %v", listed, ordered)
	}
	if err := j.DropObject(t.Context(), put[2]); err != nil {
		t.Fatal(err)
	}
	if _, err := j.Object(t.Context(), put[2]); !errors.Is(err, journal.ErrNotFound) {
		t.Errorf("an object that was dropped: %v", err)
	}
	if _, err := j.PutObject(t.Context(), make([]byte, journal.MaxObject+1)); !errors.Is(err, journal.ErrTooLarge) {
		t.Errorf("an object above the limit: %v", err)
	}
}

// sound tests that a log that is well says so, and that asking leaves no trace in it.
func sound(t *testing.T, k Kind) {
	open := k.Start(t)
	j := open(t)
	if err := j.Ready(t.Context()); err != nil {
		t.Error(err)
	}
	var tails [3]journal.Tail
	for i := range 300 {
		subject := []string{"roof.acme.j-1", "roof.acme.j-2", "roof.other.j-1"}[i%3]
		tails[i%3] = Append(t, j, subject, tails[i%3], Event(i))
	}
	if err := j.Ready(t.Context()); err != nil {
		t.Error(err)
	}
	for stream, want := range map[journal.Stream][2]int{journal.Roof: {300, 3}, journal.Sky: {0, 0}, journal.Door: {0, 0}} {
		events, subjects, err := j.Verify(t.Context(), stream, func(p string) { t.Error(p) })
		if err != nil || events != want[0] || subjects != want[1] {
			t.Errorf("%s: %d events of %d subjects (%v), want %v", stream, events, subjects, err, want)
		}
	}
}
