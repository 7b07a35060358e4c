package journal_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// The test binary runs itself as a second process when this names a directory.
const childDir = "BYDARK_TEST_JOURNAL_DIR"

func TestMain(m *testing.M) {
	if journaltest.IsNode() {
		os.Exit(journaltest.RunNode())
	}
	if dir := os.Getenv(childDir); dir != "" {
		var err error
		if limit := os.Getenv(childFault); limit != "" {
			err = failing(dir, limit)
		} else if size := os.Getenv(childEvent); size != "" {
			err = busy(dir, size)
		} else if os.Getenv(childGroup) != "" {
			err = grouped(dir)
		} else if writers := os.Getenv(childWriters); writers != "" {
			err = slowly(dir, writers)
		} else {
			err = burst(dir)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

const burstWriters = 16

// burst appends events to a log until it is killed, and says of each when it is durable.
func burst(dir string) error {
	ctx := context.Background()
	j, err := journal.Open(ctx, journal.Options{Dir: dir})
	if err != nil {
		return err
	}
	fmt.Println("open")
	var group sync.WaitGroup
	var out sync.Mutex
	for w := range burstWriters {
		subject := fmt.Sprintf("roof.acme.j-%d", w)
		events, err := j.Load(ctx, subject, 0)
		if err != nil {
			return err
		}
		group.Go(func() {
			var tail journal.Tail
			if n := len(events); n > 0 {
				tail = events[n-1].Tail()
			}
			for i := len(events); ; i++ {
				e := journaltest.Event(i)
				e.Data = append(e.Data, make([]byte, 3000)...)
				var err error
				if tail, err = j.Append(ctx, subject, tail, e); err != nil {
					fmt.Fprintln(os.Stderr, err)
					os.Exit(2)
				}
				out.Lock()
				fmt.Println(subject, e.ID, tail.Sequence, tail.Digest)
				out.Unlock()
			}
		})
	}
	group.Wait()
	return errors.New("it ended")
}

// child is a second process on a directory.
func child(ctx context.Context, dir string) *exec.Cmd {
	c := exec.CommandContext(ctx, os.Args[0])
	c.Env = append(os.Environ(), childDir+"="+dir)
	return c
}

// F01: killed in the middle of a burst, again and again: what was acknowledged is there, once, where it was said to be.
func TestKilled(t *testing.T) {
	chance := journaltest.Seed(t)
	dir := t.TempDir()
	type place struct {
		sequence uint64
		digest   string
	}
	acknowledged := map[string]place{}
	for round := range journaltest.Rounds(t, 4) {
		c := child(t.Context(), dir)
		c.Stderr = os.Stderr
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		enough := chance.IntN(400)
		lines := bufio.NewScanner(out)
		for n := 0; lines.Scan(); n++ {
			if n == enough {
				if err := c.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
			fields := strings.Fields(lines.Text())
			if len(fields) != 4 {
				continue // "open", or cut short by death
			}
			sequence, err := strconv.ParseUint(fields[2], 10, 64)
			if err != nil || len(fields[3]) != 64 {
				continue
			}
			acknowledged[fields[0]+" "+fields[1]] = place{sequence, fields[3]}
		}
		if err := c.Wait(); c.ProcessState.ExitCode() != -1 {
			t.Fatalf("round %d: the process ended by itself: %v", round, err)
		}
		j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		stored := 0
		for w := range burstWriters {
			subject := fmt.Sprintf("roof.acme.j-%d", w)
			seen := map[string]bool{}
			for _, e := range journaltest.Load(t, j, subject, 0) {
				key := subject + " " + e.ID
				if seen[key] {
					t.Errorf("round %d: %s is there twice", round, key)
				}
				seen[key] = true
				if want, ok := acknowledged[key]; ok {
					stored++
					if want.sequence != e.Sequence || want.digest != e.Digest.String() {
						t.Errorf("round %d: %s is %d, %v, acknowledged was %v", round, key, e.Sequence, e.Digest, want)
					}
				}
			}
		}
		if stored != len(acknowledged) {
			t.Errorf("round %d: %d of %d acknowledged events are there", round, stored, len(acknowledged))
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d events acknowledged", len(acknowledged))
}

// F09: two processes never share a directory; the second is told who holds it, and the death of the holder frees it at once.
func TestSecondProcess(t *testing.T) {
	dir := t.TempDir()
	c := child(t.Context(), dir)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	if !lines.Scan() || lines.Text() != "open" {
		t.Fatalf("the first process said %q", lines.Text())
	}
	for range journaltest.Rounds(t, 10) {
		j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
		if !errors.Is(err, journal.ErrLocked) {
			t.Fatalf("opened a second time: %v, %v", j, err)
		}
		if pid := fmt.Sprintf("process %d", c.Process.Pid); !strings.Contains(err.Error(), pid) {
			t.Errorf("%q does not name %s", err, pid)
		}
	}
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	for lines.Scan() {
	}
	_ = c.Wait() // killed
	j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// F09: started at the same instant, one of two gets the directory.
func TestSameInstant(t *testing.T) {
	for range journaltest.Rounds(t, 5) {
		dir := t.TempDir()
		opened := make(chan *journal.Journal, 4)
		var group sync.WaitGroup
		for range cap(opened) {
			group.Go(func() {
				j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
				if err == nil {
					opened <- j
				} else if !errors.Is(err, journal.ErrLocked) {
					t.Error(err)
				}
			})
		}
		group.Wait()
		if n := len(opened); n != 1 {
			t.Fatalf("%d journals are open on one directory", n)
		}
		if err := (<-opened).Close(); err != nil {
			t.Fatal(err)
		}
	}
}
