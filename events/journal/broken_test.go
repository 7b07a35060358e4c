package journal_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// childFault makes the second process meet a failing disk: its files may not grow beyond so many bytes.
const childFault = "BYDARK_TEST_JOURNAL_FILE_LIMIT"

// failing appends until the disk fails, and wants to be told at once.
func failing(dir, limit string) error {
	ctx := context.Background()
	j, err := journal.Open(ctx, journal.Options{Dir: dir})
	if err != nil {
		return err
	}
	size, err := strconv.ParseUint(limit, 10, 64)
	if err != nil {
		return err
	}
	signal.Ignore(syscall.SIGXFSZ) // the write fails instead
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: size, Max: size}); err != nil {
		return err
	}
	if err := j.Ready(ctx); err != nil {
		return err
	}
	waited := make(chan error, 1)
	go func() { waited <- j.Wait(ctx) }()
	var tail journal.Tail
	for i := 0; ; i++ {
		done, err := j.Append(ctx, subject, tail, journaltest.Event(i))
		if err != nil {
			fmt.Println("failed", errors.Is(err, journal.ErrUnknown), err)
			break
		}
		tail = done
		fmt.Println("stored", tail.Sequence, tail.Digest)
	}
	fmt.Println("ended", <-waited)
	fmt.Println("ready", j.Ready(ctx))
	_, err = j.Append(ctx, subject, tail, journaltest.Event(0))
	fmt.Println("again", errors.Is(err, journal.ErrUnknown), err)
	return j.Close()
}

// F18: a disk that fails a write ends the log in this process, in words, and what was acknowledged before is there after a restart.
func TestDiskFails(t *testing.T) {
	chance := journaltest.Seed(t)
	limits := []int{5_000, 20_123, 60_001}
	for len(limits) < journaltest.Rounds(t, 3) {
		limits = append(limits, 5_000+chance.IntN(100_000))
	}
	for _, limit := range limits {
		t.Run(strconv.Itoa(limit), func(t *testing.T) {
			dir := t.TempDir()
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			c := child(ctx, dir)
			c.Env = append(c.Env, fmt.Sprintf("%s=%d", childFault, limit))
			c.Stderr = os.Stderr
			out, err := c.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			stored, said := 0, map[string]string{}
			for lines := bufio.NewScanner(out); lines.Scan(); {
				word, rest, _ := strings.Cut(lines.Text(), " ")
				if word == "stored" {
					stored++
				}
				said[word] = rest
			}
			if err := c.Wait(); err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(said["failed"], "true") || !strings.Contains(said["ended"], "the disk failed") ||
				!strings.Contains(said["ready"], "the disk failed") || !strings.HasPrefix(said["again"], "true") {
				t.Errorf("it said %q", said)
			}
			j := journaltest.OpenWith(t, journal.Options{Dir: dir})
			events := journaltest.Load(t, j, subject, 0)
			if len(events) < stored || len(events) > stored+1 || stored == 0 {
				t.Errorf("%d events, %d were acknowledged", len(events), stored)
			}
			if last := strings.Fields(said["stored"]); events[stored-1].Digest.String() != last[1] {
				t.Errorf("event %d is another", stored)
			}
		})
	}
}
