package journal_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"bydark/events/journal"
	"bydark/events/journal/faultfs"
	"bydark/events/journal/journaltest"
)

// childEvent makes the second process write events of so many bytes until it is killed, read them as it goes, and store objects.
const childEvent = "BYDARK_TEST_JOURNAL_EVENT"

// busy says of everything when it was durable, or shown.
func busy(dir, size string) error {
	ctx := context.Background()
	n, err := strconv.Atoi(size)
	if err != nil {
		return err
	}
	j, err := journal.Open(ctx, journal.Options{Dir: dir, AnyFileSystem: true})
	if err != nil {
		return err
	}
	var out sync.Mutex
	say := func(a ...any) {
		out.Lock()
		defer out.Unlock()
		fmt.Println(a...)
	}
	stop := func(err error) {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
	var group sync.WaitGroup
	of := func(w int) string { return fmt.Sprintf("%s.acme.j-%d", []string{"roof", "sky"}[w%8/7], w) }
	for w := range burstWriters {
		subject, neighbour := of(w), of((w+1)%burstWriters)
		group.Go(func() {
			events, err := j.Load(ctx, subject, 0)
			if err != nil {
				stop(err)
			}
			var tail journal.Tail
			if n := len(events); n > 0 {
				tail = events[n-1].Tail()
			}
			for i := len(events); ; i++ {
				e := journaltest.Event(i)
				e.Data = append(e.Data, make([]byte, n)...)
				if tail, err = j.Append(ctx, subject, tail, e); err != nil {
					stop(err)
				}
				say("stored", subject, tail.Sequence, tail.Digest)
				others, err := j.Load(ctx, neighbour, 0)
				if err != nil {
					stop(err)
				}
				for _, e := range others[max(0, len(others)-3):] {
					say("seen", e.Subject, e.Sequence, e.Digest)
				}
			}
		})
	}
	group.Go(func() {
		for i := 0; ; i++ {
			d, err := j.PutObject(ctx, object(i))
			if err != nil {
				stop(err)
			}
			say("object", i, d)
		}
	})
	group.Go(func() {
		stop(j.Follow(ctx, journal.Roof, journal.Position{}, func(events []journal.Entry, _ bool) error {
			for _, e := range events {
				say("seen", e.Subject, e.Sequence, e.Digest)
			}
			return nil
		}))
	})
	group.Wait()
	return errors.New("it ended")
}

// object is the i-th object of a test.
func object(i int) []byte { return bytes.Repeat(fmt.Appendf(nil, "object %d ", i), 1+i%700) }

// witness is what a process said before it died.
type witness struct {
	events  map[string]string // stream and sequence to digest
	objects map[int]string
	shown   int
}

// listen reads what a process says until it dies. It kills it after so many events, when it says the given word next.
func (w *witness) listen(t *testing.T, out io.Reader, enough int, word string, kill func() error) (killed bool) {
	t.Helper()
	stored := 0
	for lines := bufio.NewScanner(out); lines.Scan(); {
		f := strings.Fields(lines.Text())
		switch {
		case len(f) == 4 && len(f[3]) == 64: // not cut short by death
			stream := strings.ToUpper(strings.Split(f[1], ".")[0])
			if old := w.events[stream+" "+f[2]]; old != "" && old != f[3] {
				t.Errorf("event %s of %s was said to be %s and %s", f[2], stream, old, f[3])
			}
			w.events[stream+" "+f[2]] = f[3]
			if f[0] == "seen" {
				w.shown++
			} else {
				stored++
			}
			if enough > 0 && stored >= enough && f[0] == word && !killed {
				killed = true
				if err := kill(); err != nil {
					t.Fatal(err)
				}
			}
		case len(f) == 3 && f[0] == "object" && len(f[2]) == 64:
			i, err := strconv.Atoi(f[1])
			if err != nil {
				t.Fatal(err)
			}
			w.objects[i] = f[2]
		}
	}
	return killed
}

// check opens what a power cut left: all that anybody was told is there, and nothing else is wrong.
func (w *witness) check(t *testing.T, dir, what string) {
	t.Helper()
	for _, again := range []bool{false, true} { // and once more, with the index that the broker has made
		j, err := journal.Open(t.Context(), journal.Options{Dir: dir, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatalf("%s (again: %v): %v", what, again, err)
		}
		have := map[string]string{}
		for _, stream := range []journal.Stream{journal.Roof, journal.Sky} {
			end, err := j.End(t.Context(), stream)
			if err != nil {
				t.Fatal(err)
			}
			events, err := journaltest.Read(t.Context(), j, stream, journal.Position{}, int(end.Sequence))
			if err != nil {
				t.Fatal(err)
			}
			ids := map[string]bool{}
			for _, e := range events {
				have[fmt.Sprintf("%s %d", stream, e.Sequence)] = e.Digest.String()
				if key := e.Subject + " " + e.ID; ids[key] {
					t.Errorf("%s: %s is there twice", what, key)
				} else {
					ids[key] = true
				}
			}
			if _, _, err := j.Verify(t.Context(), stream, func(p string) { t.Errorf("%s: %s", what, p) }); err != nil {
				t.Error(err)
			}
		}
		lost := 0
		for place, digest := range w.events {
			if have[place] != digest {
				lost++
			}
		}
		if lost > 0 {
			t.Errorf("%s: %d of %d events that somebody was told about are lost", what, lost, len(w.events))
		}
		for i, digest := range w.objects {
			d, err := journal.ParseDigest(digest)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := j.Object(t.Context(), d); err != nil || sha256.Sum256(got) != sha256.Sum256(object(i)) {
				t.Errorf("%s: object %d: %v", what, i, err)
			}
		}
		const subject = "roof.acme.after"
		var tail journal.Tail
		if events := journaltest.Load(t, j, subject, 0); len(events) > 0 {
			tail = events[len(events)-1].Tail()
		}
		journaltest.Append(t, j, subject, tail, journaltest.Event(int(tail.Sequence)))
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// indexed has a broker make the index of a store, as one does now and then.
func indexed(t *testing.T, dir string) []byte {
	t.Helper()
	s, err := server.NewServer(&server.Options{DontListen: true, JetStream: true, StoreDir: filepath.Join(dir, "broker"), NoSigs: true, NoLog: true})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	s.Shutdown()
	s.WaitForShutdown()
	return read(t, store{dir: dir}.index())
}

func (s store) index() string { return filepath.Join(s.msgs(), "index.db") }

// F10 and F11: the power goes, and with it what was not synced, all of it or any part of it, with blocks turning over and the broker's
// index in every state. Nothing that was acknowledged, or shown to a reader, is lost.
func TestPowerCut(t *testing.T) {
	for name, names := range map[string]faultfs.Names{"F10 journalling": faultfs.Journalling, "F11 strict": faultfs.Strict} {
		for _, c := range []cut{
			{"small events", 200, 1, 300, 4, 5 * time.Millisecond},
			{"blocks turn over", 400 << 10, 18, 40, 1, time.Millisecond}, // a block takes 8 MB
		} {
			t.Run(name+", "+c.name, func(t *testing.T) {
				chance := journaltest.Seed(t)
				dir := t.TempDir()
				for round := range journaltest.Rounds(t, 1) {
					if round%5 == 0 {
						dir = t.TempDir()
					}
					dir = c.power(t, dir, names, chance)
				}
			})
		}
	}
}

// cut is how a test of a power cut goes.
type cut struct {
	name        string
	size        int // of an event
	least, most int // events before the cut
	images      int // random ones
	slow        time.Duration
}

// run has a process write to a disk, and kills it after so many events; with 0 it must end by itself.
func (w *witness) run(t *testing.T, disk *faultfs.FS, size, enough int, word string) {
	t.Helper()
	p := child(t.Context(), disk.Dir)
	p.Env = append(p.Env, childEvent+"="+strconv.Itoa(size))
	var said strings.Builder
	p.Stderr = &said
	out, err := p.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	killed := w.listen(t, out, enough, word, p.Process.Kill)
	err = p.Wait()
	if byItself := p.ProcessState.ExitCode() != -1; byItself != (enough == 0) || killed == byItself || err == nil {
		t.Fatalf("the process ended: %v: %s", err, said.String())
	}
}

// power goes on with what is in a directory until the power goes, and returns a directory with what is left.
func (c cut) power(t *testing.T, dir string, names faultfs.Names, chance *rand.Rand) string {
	t.Helper()
	disk := faultfs.Mount(t, names)
	disk.Load(t, dir)
	disk.Slow(c.slow)
	w := witness{events: map[string]string{}, objects: map[int]string{}}
	w.run(t, disk, c.size, c.least+chance.IntN(c.most-c.least), []string{"stored", "seen"}[chance.IntN(2)])
	all := disk.Cut(t, faultfs.All, chance)
	newer := indexed(t, disk.Cut(t, faultfs.All, chance))
	w.check(t, all, "killed")
	left := disk.Cut(t, faultfs.Some, chance)
	w.check(t, left, "some of it left")
	for range c.images {
		w.check(t, disk.Cut(t, faultfs.Some, chance), "some of it left")
	}
	for what, index := range map[string][]byte{
		"as it was": nil, "newer than the blocks": newer, "of zeros": make([]byte, len(newer)), "cut off": newer[:len(newer)/2],
	} {
		for _, s := range []faultfs.Survives{faultfs.Nothing, faultfs.Some}[:min(2, c.images)] {
			image := disk.Cut(t, s, chance)
			if at := (store{dir: image}).index(); index != nil {
				if _, err := os.Stat(filepath.Dir(at)); err == nil {
					write(t, at, index)
				}
			}
			w.check(t, image, "index "+what)
		}
	}
	t.Logf("%d events stored or shown (%d shown), %d objects", len(w.events), w.shown, len(w.objects))
	return left
}
