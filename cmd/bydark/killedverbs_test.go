package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bydark/events/journal/journaltest"
)

// doomed are verbs that are killed at random moments of the time that they take.
type doomed struct {
	dice *rand.Rand
	took time.Duration // of a whole call, the longest seen
}

// call runs a verb in a process of its own and perhaps kills it; whole says that it came to its end.
func (d *doomed) call(t *testing.T, args ...string) (whole bool) {
	t.Helper()
	c := command(t, args...)
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	begun := time.Now()
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	var fatal *time.Timer
	if d.took > 0 {
		fatal = time.AfterFunc(time.Duration(d.dice.Int64N(int64(d.took))), func() { _ = c.Process.Kill() }) // it may have ended
		defer fatal.Stop()
	}
	err := c.Wait()
	var ended *exec.ExitError
	switch {
	case err == nil:
		d.took = max(d.took, time.Since(begun))
		return true
	case errors.As(err, &ended) && ended.ExitCode() == -1:
		return false
	}
	t.Fatalf("%v ends with %v: %s", args, err, said.String())
	return false
}

// halfFolded is a directory whose views lag behind its log, beside its views as they are and as they are to be.
type halfFolded struct {
	dir, views string
	old, new   string
	events     int
}

func openHalfFolded(t *testing.T) halfFolded {
	t.Helper()
	r := start(t)
	h := halfFolded{dir: r.dir, views: filepath.Join(t.TempDir(), "views"), events: 241}
	r.crew.open("job")
	tellMany(r.crew, 0)
	h.old = r.told(t)
	r.stop()
	copyTree(t, filepath.Join(r.dir, "views"), h.views)

	again := opened(t, r.dir)
	lagging := dumped(t, again)
	if err := again.close(); err != nil {
		t.Fatal(err)
	}
	if lagging != h.old {
		t.Fatal("views that nobody touched are others")
	}
	served := launch(t, r.dir)
	c := *r.crew
	c.client = &client{t: t, url: served.url}
	tellMany(&c, 1)
	served.kill()
	h.new = dumpOf(t, r.dir)
	if h.new == h.old {
		t.Fatal("the views of all are those of the half")
	}
	return h
}

func tellMany(c *crew, half int) {
	var reports []roofReport
	for i := range 120 {
		reports = append(reports, tell(fmt.Sprintf("half %d/%d", half, i), "panel-set", i, roofReport{"piece": fmt.Sprintf("A-%02d", 1+i%12)}))
	}
	c.accept("job", reports...)
}

// dumped are the views of a house as they are, without catching up.
func dumped(t *testing.T, h *house) string {
	t.Helper()
	var text bytes.Buffer
	if err := h.runner.Dump(t.Context(), &text); err != nil {
		t.Fatal(err)
	}
	return text.String()
}

// copyTree copies the files of a directory with their rights.
func copyTree(t *testing.T, from, to string) {
	t.Helper()
	err := filepath.WalkDir(from, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := filepath.Join(to, strings.TrimPrefix(file, from))
		if d.IsDir() {
			return os.MkdirAll(name, 0o700)
		}
		in, err := os.Open(file)
		if err != nil {
			return err
		}
		out, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err == nil {
			_, err = io.Copy(out, in)
			err = errors.Join(err, out.Close())
		}
		return errors.Join(err, in.Close())
	})
	if err != nil {
		t.Fatal(err)
	}
}

// F05: killed while it folds all anew, or lays out the tables, the program shows the views that were or those that are to be, never
// something between, and has the right ones when it was let to.
func TestKilledInARebuild(t *testing.T) {
	t.Parallel()
	h := openHalfFolded(t)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	victim := &doomed{dice: rand.New(rand.NewPCG(seed, 5))}
	views := filepath.Join(h.dir, "views")
	killed := 0
	for round := range 2 * (1 + journaltest.Rounds(t, 2)) { // the first two are let to
		fresh := round%2 == 1
		if err := os.RemoveAll(views); err != nil {
			t.Fatal(err)
		}
		if !fresh {
			copyTree(t, h.views, views)
		}
		if round == 1 {
			victim.took = 0
		}
		whole := victim.call(t, "rebuild", "--dir", h.dir)
		again := opened(t, h.dir)
		switch now := dumped(t, again); {
		case now == h.new:
		case whole:
			t.Fatalf("round %d: after a whole rebuild the views are\n%s", round, now)
		case !fresh && now != h.old, fresh && strings.Count(now, "\n") > strings.Count(now, "table "):
			t.Fatalf("round %d: after the kill the views are\n%s", round, now)
		}
		if err := again.close(); err != nil {
			t.Fatal(err)
		}
		if !whole {
			killed++
		}
		if code, found := verify(t, h.dir); code != 0 || len(found.Problems) > 0 || found.Events != h.events {
			t.Fatalf("round %d: verify ends with %d: %+v", round, code, found)
		}
	}
	t.Logf("killed %d times", killed)
}

// F05: a backup that was killed has its name only if it is whole, what else it left is refused, and the next one is made all the same. A restore
// that was killed leaves a directory that says so.
func TestKilledInABackup(t *testing.T) {
	t.Parallel()
	h := openHalfFolded(t)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	dice := rand.New(rand.NewPCG(seed, 5))
	backing, restoring := &doomed{dice: dice}, &doomed{dice: dice}
	file, whole := filepath.Join(t.TempDir(), "backup"), filepath.Join(t.TempDir(), "whole")
	if !backing.call(t, "backup", "--dir", h.dir, whole) {
		t.Fatal("it was killed")
	}
	killed := [2]int{}
	for round := range journaltest.Rounds(t, 2) {
		if !backing.call(t, "backup", "--dir", h.dir, file) {
			killed[0]++
			if _, err := os.Stat(file); err == nil { // it was named before the kill, so it must be whole
				named := filepath.Join(t.TempDir(), "named")
				if code, said := verb(t, "restore", file, "--dir", named); code != 0 || !usable(t, named, h.events) {
					t.Fatalf("round %d: a backup that has its name is restored with %d: %s", round, code, said)
				}
				if err := os.Remove(file); err != nil {
					t.Fatal(err)
				}
			}
			into := filepath.Join(t.TempDir(), "part")
			if _, err := os.Stat(file + ".part"); err == nil {
				switch code, said := verb(t, "restore", file+".part", "--dir", into); code {
				case 0: // it lacked nothing but its name
					if !usable(t, into, h.events) {
						t.Fatalf("round %d: a restored backup cannot be used", round)
					}
				case 2:
					if _, err := os.Stat(into); !errors.Is(err, fs.ErrNotExist) {
						t.Fatalf("round %d: half a backup left %s", round, into)
					}
				default:
					t.Fatalf("round %d: half a backup is restored with %d: %s", round, code, said)
				}
			}
			if code, said := verb(t, "backup", "--dir", h.dir, file); code != 0 {
				t.Fatalf("round %d: the next backup ends with %d: %s", round, code, said)
			}
		}
		if err := os.Remove(file); err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(t.TempDir(), "restored")
		if !restoring.call(t, "restore", whole, "--dir", dir) {
			killed[1]++
			if usable(t, dir, h.events) {
				continue
			}
			if err := os.RemoveAll(dir); err != nil {
				t.Fatal(err)
			}
			if code, said := verb(t, "restore", whole, "--dir", dir); code != 0 {
				t.Fatalf("round %d: the next restore ends with %d: %s", round, code, said)
			}
		}
		if !usable(t, dir, h.events) {
			t.Fatalf("round %d: a whole restore cannot be used", round)
		}
	}
	t.Logf("killed %d times in a backup, %d in a restore", killed[0], killed[1])
}

// usable says whether a directory can be used, and wants it whole then. One that cannot has to say what to do.
func usable(t *testing.T, dir string, events int) bool {
	t.Helper()
	code, said := verb(t, "verify", "--dir", dir)
	switch {
	case code == 0 && strings.Contains(said, fmt.Sprintf(" %d of them of ", events)):
		return true
	case code == 2 && strings.Contains(said, "holds no log"), code == 1 && strings.Contains(said, "empty it and restore again"):
		return false
	}
	t.Fatalf("after a kill in restore, verify ends with %d: %s", code, said)
	return false
}
