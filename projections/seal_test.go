package projections_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"bydark/events/journal/journaltest"
	"bydark/projections"
)

// F20: whatever happens to the file of a stopped program, the views that are served are those of the log.
func TestDamagedFile(t *testing.T) {
	seed := rand.Uint64()
	t.Log("seed", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	h := newHouse(t)
	for i := range 60 {
		h.say(t, fmt.Sprint("j", i%4), fmt.Sprintf(`["w%d", "%0200d"]`, i%9, i))
	}
	whole := t.TempDir()
	s := openSQLite(t, whole)
	r := h.runner(s)
	catchUp(t, r)
	want := dump(t, r)
	closeStore(t, s)

	elsewhere := newHouse(t)
	elsewhere.say(t, "j0", `["w1"]`)
	foreign := t.TempDir()
	s = openSQLite(t, foreign)
	catchUp(t, elsewhere.runner(s))
	closeStore(t, s)

	for name, harm := range map[string]func(t *testing.T, dir string){
		"nothing":             func(*testing.T, string) {},
		"file deleted":        func(t *testing.T, dir string) { remove(t, filepath.Join(dir, "views.db")) },
		"seal deleted":        func(t *testing.T, dir string) { remove(t, filepath.Join(dir, "views.db.seal")) },
		"seal garbled":        func(t *testing.T, dir string) { write(t, filepath.Join(dir, "views.db.seal"), []byte("clos")) },
		"file empty":          func(t *testing.T, dir string) { write(t, filepath.Join(dir, "views.db"), nil) },
		"file of another dir": func(t *testing.T, dir string) { copyFile(t, foreign, dir, "views.db") },
		"all of another dir": func(t *testing.T, dir string) {
			copyFile(t, foreign, dir, "views.db")
			copyFile(t, foreign, dir, "views.db.seal")
		},
		"log of another writer": func(t *testing.T, dir string) { write(t, filepath.Join(dir, "views.db-wal"), garble(random, 8000)) },
	} {
		t.Run(name, func(t *testing.T) { tryDamage(t, h, whole, want, harm) })
	}
	tries := journaltest.Rounds(t, 20)
	for i := range tries {
		t.Run(fmt.Sprint("random bytes ", i), func(t *testing.T) {
			tryDamage(t, h, whole, want, func(t *testing.T, dir string) {
				file := filepath.Join(dir, "views.db")
				b := read(t, file)
				copy(b[random.IntN(len(b)):], garble(random, 1+random.IntN(64)))
				write(t, file, b)
			})
		})
	}
	for i := range tries / 2 {
		t.Run(fmt.Sprint("truncated ", i), func(t *testing.T) {
			tryDamage(t, h, whole, want, func(t *testing.T, dir string) {
				file := filepath.Join(dir, "views.db")
				b := read(t, file)
				write(t, file, b[:random.IntN(len(b))])
			})
		})
	}
}

func tryDamage(t *testing.T, h *house, whole, want string, harm func(t *testing.T, dir string)) {
	dir := t.TempDir()
	copyFile(t, whole, dir, "views.db")
	copyFile(t, whole, dir, "views.db.seal")
	harm(t, dir)
	s := openSQLite(t, dir)
	defer closeStore(t, s)
	r := h.runner(s)
	catchUp(t, r)
	if got := dump(t, r); got != want {
		t.Errorf("the views are not those of the log:\n%s", got)
	}
}

// F20: a program that was killed leaves its file open. Its write-ahead log is used if it is there; without it, the file is not.
func TestKilled(t *testing.T) {
	for _, c := range []struct {
		name    string
		without string
		aside   bool
	}{{"whole", "", false}, {"without its write-ahead log", "views.db-wal", true}, {"without its index", "views.db-shm", false}} {
		t.Run(c.name, func(t *testing.T) {
			h := newHouse(t)
			dir, killed := t.TempDir(), t.TempDir()
			s := openSQLite(t, dir)
			defer closeStore(t, s)
			r := h.runner(s)
			for i := range 50 {
				h.say(t, fmt.Sprint("j", i%3), `["ridge"]`)
				catchUp(t, r)
			}
			files, err := os.ReadDir(dir)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range files { // read through the system, as the next process would find them
				if f.Name() != c.without {
					copyFile(t, dir, killed, f.Name())
				}
			}
			again := openSQLite(t, killed)
			defer closeStore(t, again)
			next := h.runner(again)
			catchUp(t, next)
			if got, want := dump(t, next), dump(t, r); got != want {
				t.Errorf("after the kill:\n%s\nwant\n%s", got, want)
			}
			if got := next.Status().Rebuilds > 0; got != c.aside {
				t.Errorf("folded from the beginning: %v, want %v", got, c.aside)
			}
			if _, err := os.Stat(filepath.Join(killed, "views.db.damaged")); (err == nil) != c.aside {
				t.Errorf("put aside: %v, want %v", err == nil, c.aside)
			}
		})
	}
}

// A store that was closed in order is used as it is.
func TestClosedInOrder(t *testing.T) {
	h := newHouse(t)
	dir := t.TempDir()
	for i := range 3 {
		s := openSQLite(t, dir)
		r := h.runner(s)
		h.say(t, "j", `["ridge"]`)
		catchUp(t, r)
		if got := r.Status().Rebuilds; (got > 0) != (i == 0) {
			t.Errorf("opening %d: %d folds from the beginning", i, got)
		}
		closeStore(t, s)
		for _, rest := range []string{"views.db-wal", "views.db-shm", "views.db.damaged"} {
			if _, err := os.Stat(filepath.Join(dir, rest)); err == nil {
				t.Errorf("%s is left", rest)
			}
		}
	}
}

// A page that goes bad while the program runs ends the runner, and the next start heals.
func TestDamagedWhileRunning(t *testing.T) {
	h := newHouse(t)
	dir := t.TempDir()
	s := openSQLite(t, dir)
	for i := range 100 {
		h.say(t, fmt.Sprint("j", i), `["ridge"]`)
	}
	r := h.runner(s)
	catchUp(t, r)
	if err := s.Pragma(`pragma writable_schema = 1`); err != nil {
		t.Fatal(err)
	}
	if err := s.Exec(t.Context(), `update sqlite_schema set rootpage = 9999 where name = 'counts'`); err != nil {
		t.Fatal(err)
	}
	if err := s.Pragma(`pragma writable_schema = reset`); err != nil {
		t.Log("the damage shows at once:", err)
	}
	h.say(t, "j", `["ridge"]`)
	err := h.runner(s).CatchUp(t.Context())
	if !errors.Is(err, projections.ErrDamaged) {
		t.Fatalf("a damaged file gives %v, want ErrDamaged", err)
	}
	if err := s.Close(); err != nil {
		t.Log(err)
	}
	s, err = projections.OpenSQLite(t.Context(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer closeStore(t, s)
	makeTables(t, s)
	r = h.runner(s)
	catchUp(t, r)
	sound(t, r)
}

func read(t *testing.T, file string) []byte {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func write(t *testing.T, file string, b []byte) {
	t.Helper()
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

func remove(t *testing.T, file string) {
	t.Helper()
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
}

func copyFile(t *testing.T, from, to, name string) {
	t.Helper()
	write(t, filepath.Join(to, name), read(t, filepath.Join(from, name)))
}

func garble(random *rand.Rand, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(random.Uint32())
	}
	return b
}
