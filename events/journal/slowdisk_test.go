package journal_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"sync"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/faultfs"
	"bydark/events/journal/journaltest"
)

// F18: the disk fails one sync. Whoever waited for it is not told that his event is stored, the process ends by itself, and the next one
// shows only what the disk has, whatever the system's memory says.
func TestSyncFails(t *testing.T) {
	chance := journaltest.Seed(t)
	for round := range journaltest.Rounds(t, 4) {
		n := 1 + chance.IntN([]int{40, 300}[round%2]) // the log is opened by the first 40 or so
		t.Run(fmt.Sprintf("sync %d", n), func(t *testing.T) {
			disk := faultfs.Mount(t, []faultfs.Names{faultfs.Journalling, faultfs.Strict}[chance.IntN(2)])
			disk.FailSync(n)
			w := witness{events: map[string]string{}, objects: map[int]string{}}
			w.run(t, disk, 200, 0, "")
			if !disk.Failed() {
				t.Fatal("the process ended before")
			}
			w.check(t, disk.Cut(t, faultfs.Nothing, chance), "after the fault, and the power cut off")
			for range 3 {
				w.check(t, disk.Cut(t, faultfs.Some, chance), "after the fault, and some of it left")
			}
			w.run(t, disk, 200, 1+chance.IntN(100), "stored")
			w.check(t, disk.Cut(t, faultfs.All, chance), "gone on with")
			w.check(t, disk.Cut(t, faultfs.Nothing, chance), "gone on with, and the power cut off")
			t.Logf("%d events stored or shown, %d objects", len(w.events), len(w.objects))
		})
	}
}

// childWriters makes the second process append so many events with so many writers, and say how.
const childWriters = "BYDARK_TEST_JOURNAL_WRITERS"

// slowly says how many syncs the events took and how long they waited.
func slowly(dir, said string) error {
	var writers, each int
	if _, err := fmt.Sscan(said, &writers, &each); err != nil {
		return err
	}
	ctx := context.Background()
	j, err := journal.Open(ctx, journal.Options{Dir: dir, AnyFileSystem: true})
	if err != nil {
		return err
	}
	fmt.Println("open")
	errs := make([]error, writers)
	var group sync.WaitGroup
	for w := range writers {
		group.Go(func() {
			var tail journal.Tail
			for i := range each {
				if tail, errs[w] = j.Append(ctx, fmt.Sprintf("roof.acme.j-%d", w), tail, journaltest.Event(i)); errs[w] != nil {
					return
				}
			}
		})
	}
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	f := j.Figures()
	syncs := uint64(0)
	for _, n := range f.Sync.Counts {
		syncs += n
	}
	at, below := 0, f.Append.Counts[0]
	for below*100 < f.Stored*99 {
		at++
		below += f.Append.Counts[at]
	}
	fmt.Println("stored", f.Stored, syncs, time.Duration(f.Append.Bounds[at]).Milliseconds())
	return j.Close()
}

// F19: each sync takes 200 ms. Those who wait share one, so that 64 writers wait hardly longer than one; nothing times out.
func TestSlowDisk(t *testing.T) {
	for _, c := range []struct{ writers, each, most int }{{1, 4, 4}, {64, 8, 128}} {
		disk := faultfs.Mount(t, faultfs.Journalling)
		p := child(t.Context(), disk.Dir)
		p.Env = append(p.Env, fmt.Sprintf("%s=%d %d", childWriters, c.writers, c.each))
		p.Stderr = os.Stderr
		out, err := p.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := p.Start(); err != nil {
			t.Fatal(err)
		}
		var stored, syncs, percentile int
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if lines.Text() == "open" {
				disk.Slow(200 * time.Millisecond)
			} else if _, err := fmt.Sscanf(lines.Text(), "stored %d %d %d", &stored, &syncs, &percentile); err == nil {
				disk.Slow(0)
			}
		}
		if err := p.Wait(); err != nil {
			t.Fatalf("%d writers: %v", c.writers, err)
		}
		t.Logf("%d writers: %d events, %d syncs, 99 of 100 within %d ms", c.writers, stored, syncs, percentile)
		if stored != c.writers*c.each || syncs > c.most {
			t.Errorf("%d writers: %d events took %d syncs, want at most %d", c.writers, stored, syncs, c.most)
		}
	}
}
