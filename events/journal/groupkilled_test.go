package journal_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/faultfs"
	"bydark/events/journal/journaltest"
)

// childGroup makes the second process append with a hundred writers until it is killed, and say of each event when it is asked for and when
// it is durable.
const childGroup = "BYDARK_TEST_JOURNAL_GROUP"

const groupWriters = 100

func grouped(dir string) error {
	ctx := context.Background()
	j, err := journal.Open(ctx, journal.Options{Dir: dir, AnyFileSystem: true})
	if err != nil {
		return err
	}
	fmt.Println("open")
	var out sync.Mutex
	say := func(a ...any) {
		out.Lock()
		defer out.Unlock()
		fmt.Println(a...)
	}
	var group sync.WaitGroup
	for w := range groupWriters {
		group.Go(func() {
			var tail journal.Tail
			for i := 0; ; i++ {
				subject := fmt.Sprintf("roof.acme.j-%d", w)
				say("asked", subject)
				var err error
				if tail, err = j.Append(ctx, subject, tail, journaltest.Event(i)); err != nil {
					fmt.Fprintln(os.Stderr, err)
					os.Exit(2)
				}
				say("stored", subject, tail.Sequence, tail.Digest)
			}
		})
	}
	group.Wait()
	return errors.New("it ended")
}

// F03: killed while a hundred appends wait for one sync, which is held before it has done anything. Groups are no transactions here: each
// report is one event, and what a group shares is the sync. So each event of the
// group is whole or absent, whatever was answered, by the sync before, is there, and the log goes on, whether the machine died with the process or not.
func TestKilledInAGroup(t *testing.T) {
	chance := journaltest.Seed(t)
	for round := range journaltest.Rounds(t, 3) {
		disk := faultfs.Mount(t, []faultfs.Names{faultfs.Journalling, faultfs.Strict}[round%2])
		c := child(t.Context(), disk.Dir)
		c.Env = append(c.Env, childGroup+"=1")
		c.Stderr = os.Stderr
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		w := witness{events: map[string]string{}, objects: map[int]string{}}
		lines := make(chan string)
		go func() {
			defer close(lines)
			for said := bufio.NewScanner(out); said.Scan(); {
				lines <- said.Text()
			}
		}()
		var held <-chan struct{}
		release, killed, waits := func() {}, false, false
		asked, stored := 0, 0
		for open := true; open; {
			var line string
			select {
			case line, open = <-lines:
			case <-held:
				held, waits = nil, true
			}
			f := strings.Fields(line)
			switch {
			case len(f) == 1 && f[0] == "open":
				held, release = disk.HoldSync(1 + chance.IntN(20))
			case len(f) == 2 && f[0] == "asked":
				asked++
			case len(f) == 4 && len(f[3]) == 64:
				stored++
				w.events[string(journal.Roof)+" "+f[2]] = f[3]
			}
			if waits && !killed && asked-stored == groupWriters { // or they are about to say that the sync before this one served them
				killed = true
				if err := c.Process.Kill(); err != nil {
					t.Fatal(err)
				}
				release()
			}
		}
		release()
		if err := c.Wait(); !killed || c.ProcessState.ExitCode() != -1 {
			t.Fatalf("round %d: the process ended by itself: %v", round, err)
		}
		w.check(t, disk.Cut(t, faultfs.All, chance), "killed")
		w.check(t, disk.Cut(t, faultfs.Nothing, chance), "and the power cut off")
		w.check(t, disk.Cut(t, faultfs.Some, chance), "and some of it left")
		t.Logf("round %d: %d events were answered before", round, stored)
	}
}
