package journal_test

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// store is a directory with a log of one subject, closed.
type store struct {
	dir    string
	tail   journal.Tail
	blocks []string // oldest first
}

const subject = "roof.acme.j-1"

// fill writes n events with size bytes of data each and closes the log.
func fill(t *testing.T, n, size int) store {
	t.Helper()
	s := store{dir: t.TempDir()}
	j, err := journal.Open(t.Context(), journal.Options{Dir: s.dir})
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		e := journaltest.Event(i)
		e.Data = append(e.Data, make([]byte, size)...)
		s.tail = journaltest.Append(t, j, subject, s.tail, e)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	for i := 1; ; i++ {
		block := filepath.Join(s.msgs(), fmt.Sprintf("%d.blk", i))
		if _, err := os.Stat(block); err != nil {
			return s
		}
		s.blocks = append(s.blocks, block)
	}
}

func (s store) stream() string { return filepath.Join(s.dir, "broker/jetstream/$G/streams/ROOF") }
func (s store) msgs() string   { return filepath.Join(s.stream(), "msgs") }
func (s store) newest() string { return s.blocks[len(s.blocks)-1] }

// sum is a digest over all files of the broker's store.
func (s store) sum(t *testing.T) [32]byte {
	t.Helper()
	h := sha256.New()
	err := filepath.WalkDir(filepath.Join(s.dir, "broker"), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		fmt.Fprintf(h, "%s %d %s", path, len(b), b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return [32]byte(h.Sum(nil))
}

// read reads a file.
func read(t *testing.T, file string) []byte {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// write changes a file in place, as a fault would.
func write(t *testing.T, file string, b []byte) {
	t.Helper()
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// refuses opens the store, which must be refused as damaged and left as it is.
func (s store) refuses(t *testing.T, what string) *journal.Damage {
	t.Helper()
	before := s.sum(t)
	j, err := journal.Open(t.Context(), journal.Options{Dir: s.dir})
	if err == nil {
		t.Fatalf("%s: it was opened (%v)", what, j.Close())
	}
	var damage *journal.Damage
	if !errors.Is(err, journal.ErrDamaged) || !errors.As(err, &damage) {
		t.Fatalf("%s: %v, want damage", what, err)
	}
	if s.sum(t) != before {
		t.Fatalf("%s: the store was changed", what)
	}
	return damage
}

// whole opens the store, which must hold all n events and take another.
func (s *store) whole(t *testing.T, what string, n int) {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: s.dir})
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	events := journaltest.Load(t, j, subject, 0)
	if len(events) != n || events[n-1].Tail() != s.tail {
		t.Fatalf("%s: %d events, want %d", what, len(events), n)
	}
	s.tail = journaltest.Append(t, j, subject, s.tail, journaltest.Event(n))
	if s.tail.Sequence != uint64(n+1) {
		t.Fatalf("%s: the next event is %d, want %d", what, s.tail.Sequence, n+1)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// F14.
func TestOneBitFlipped(t *testing.T) {
	chance := journaltest.Seed(t)
	for name, c := range map[string]struct{ events, size, flips int }{
		"one block":   {100, 0, journaltest.Rounds(t, 100)},
		"many blocks": {30, 800 << 10, 12},
	} {
		t.Run(name, func(t *testing.T) {
			s := fill(t, c.events, c.size)
			for n := range c.flips {
				file := s.blocks[n%len(s.blocks)]
				b := read(t, file)
				at, bit := chance.IntN(len(b)), chance.IntN(8)
				b[at] ^= 1 << bit
				write(t, file, b)
				damage := s.refuses(t, fmt.Sprintf("bit %d of byte %d of %s", bit, at, file))
				if damage.File != file || damage.Offset > int64(at) || damage.Last >= s.tail.Sequence {
					t.Errorf("bit %d of byte %d of %s: %+v", bit, at, file, damage)
				}
				b[at] ^= 1 << bit
				write(t, file, b)
			}
			s.whole(t, "mended", c.events)
		})
	}
}

// F14: a bit in the middle is found even when nothing tells what was acknowledged.
func TestOneBitFlippedWithoutNote(t *testing.T) {
	s := fill(t, 50, 0)
	if err := os.Remove(filepath.Join(s.dir, "acknowledged")); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(s.msgs(), "index.db")); err != nil {
		t.Fatal(err)
	}
	b := read(t, s.newest())
	for at := 0; at < len(b)*9/10; at += 97 {
		b[at] ^= 4
		write(t, s.newest(), b)
		_ = s.refuses(t, fmt.Sprintf("byte %d", at))
		b[at] ^= 4
	}
}

// F13.
func TestAcknowledgedEventsCutOff(t *testing.T) {
	const n = 40
	s := fill(t, n, 100)
	whole := read(t, s.newest())
	for _, index := range []bool{true, false} {
		if !index {
			if err := os.Remove(filepath.Join(s.msgs(), "index.db")); err != nil {
				t.Fatal(err)
			}
		}
		for k := 1; k <= 200; k++ {
			write(t, s.newest(), whole[:len(whole)-k])
			if damage := s.refuses(t, fmt.Sprintf("%d bytes cut", k)); damage.Last != n-1 || damage.Stream != journal.Roof {
				t.Errorf("%d bytes cut: %+v", k, damage)
			}
		}
		write(t, s.newest(), nil)
		if damage := s.refuses(t, "all bytes cut"); damage.Last != 0 {
			t.Errorf("all bytes cut: %+v", damage)
		}
	}
	if err := os.RemoveAll(s.stream()); err != nil {
		t.Fatal(err)
	}
	_ = s.refuses(t, "stream taken away")
}

// F12.
func TestWriteCutOff(t *testing.T) {
	chance := journaltest.Seed(t)
	n := 20
	s := fill(t, n, 0)
	for round := range journaltest.Rounds(t, 40) {
		whole := read(t, s.newest())
		end := make([]byte, 1+chance.IntN(4096))
		switch round % 3 {
		case 0: // zeros
		case 1:
			for i := range end {
				end[i] = byte(chance.Uint32())
			}
		case 2: // part of a record
			end = whole[:1+chance.IntN(min(len(whole)/n, 400))]
		}
		write(t, s.newest(), append(whole[:len(whole):len(whole)], end...))
		s.whole(t, fmt.Sprintf("round %d, %d bytes behind the last event", round, len(end)), n)
		kept := filepath.Join(s.dir, fmt.Sprintf("cut-ROOF-%s-%d", filepath.Base(s.newest()), len(whole)))
		if got := read(t, kept); string(got) != string(end) {
			t.Errorf("round %d: %d bytes kept, want %d", round, len(got), len(end))
		}
		n++
	}
}

// F15.
func TestFilesBesideTheBlocks(t *testing.T) {
	n := 30
	s := fill(t, n, 0)
	index := filepath.Join(s.msgs(), "index.db")
	older := read(t, index)
	s.whole(t, "first", n)
	n++
	for what, change := range map[string]func() error{
		"index missing": func() error { return os.Remove(index) },
		"index empty":   func() error { return os.Truncate(index, 0) },
		"index short":   func() error { return os.Truncate(index, 20) },
		"index older":   func() error { return os.WriteFile(index, older, 0o600) },
		"index zeroed":  func() error { return os.WriteFile(index, make([]byte, len(older)), 0o600) },
		"index flipped": func() error {
			b := append([]byte(nil), older...)
			b[len(b)/2] ^= 1
			return os.WriteFile(index, b, 0o600)
		},
		"note missing": func() error { return os.Remove(filepath.Join(s.dir, "acknowledged")) },
		"note flipped": func() error {
			file := filepath.Join(s.dir, "acknowledged")
			b := read(t, file)
			b[70] ^= 1
			return os.WriteFile(file, b, 0o600)
		},
	} {
		if err := change(); err != nil {
			t.Fatal(err)
		}
		s.whole(t, what, n)
		n++
	}
	for _, name := range []string{"meta.inf", "meta.sum"} {
		file := filepath.Join(s.stream(), name)
		good := read(t, file)
		bad := append([]byte(nil), good...)
		bad[len(bad)/2] ^= 1
		write(t, file, bad)
		if damage := s.refuses(t, name); !strings.Contains(damage.Error(), "meta.") {
			t.Errorf("%s: %v", name, damage)
		}
		if err := os.Remove(file); err != nil {
			t.Fatal(err)
		}
		_ = s.refuses(t, name+" missing")
		write(t, file, good)
	}
	s.whole(t, "mended", n)
}
