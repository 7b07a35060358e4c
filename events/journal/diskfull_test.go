package journal_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// F16: the disk runs full under the broker in spite of the watermark (another program fills it). Nothing acknowledged is lost, readiness says
// so, and when there is room again the log goes on by itself. Needs the right to mount a file system in memory.
func TestDiskFull(t *testing.T) {
	for n := range 2 * journaltest.Rounds(t, 1) {
		spare := []int64{100 << 10, 1}[n%2] // with the second it is the broker that finds no room
		t.Run(fmt.Sprintf("spare %d", spare), func(t *testing.T) {
			disk := t.TempDir()
			if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=24m"); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() {
				if err := syscall.Unmount(disk, 0); err != nil {
					t.Error(err)
				}
			})
			j := journaltest.OpenWith(t, journal.Options{Dir: filepath.Join(disk, "dir"), Spare: spare})
			filler := filepath.Join(disk, "filler")
			var tail journal.Tail
			var err error
			n := 0
			for ; err == nil; n++ {
				if n == 50 { // past the watermark at a blow, behind the back of the check before an append
					go fillUp(filler)
				}
				e := journaltest.Event(n)
				e.Data = append(e.Data, make([]byte, 20_000)...)
				var done journal.Tail
				if done, err = j.Append(t.Context(), subject, tail, e); err == nil {
					tail = done
				}
			}
			t.Log(n, err)
			if !errors.Is(err, journal.ErrUnknown) && !errors.Is(err, journal.ErrFull) {
				t.Errorf("append: %v", err)
			}
			if err := j.Ready(t.Context()); err == nil {
				t.Error("ready though the disk is full")
			}
			if _, err := j.PutObject(t.Context(), make([]byte, 4<<20)); !errors.Is(err, journal.ErrFull) {
				t.Errorf("put an object: %v", err)
			}
			if err := os.Remove(filler); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
			defer cancel()
			for j.Ready(ctx) != nil {
				if ctx.Err() != nil {
					t.Fatal("not ready 30 s after the disk had room again")
				}
			}
			events := journaltest.Load(t, j, subject, 0)
			if last := uint64(len(events)); last < tail.Sequence || last > tail.Sequence+1 {
				t.Errorf("%d events, %d were acknowledged", last, tail.Sequence)
			}
			journaltest.Append(t, j, subject, events[len(events)-1].Tail(), journaltest.Event(n+1))
			if _, _, err := j.Verify(t.Context(), journal.Roof, func(p string) { t.Error(p) }); err != nil {
				t.Error(err)
			}
		})
	}
}

// fillUp writes until there is no room.
func fillUp(file string) {
	f, err := os.Create(file)
	if err != nil {
		panic(err)
	}
	defer f.Close()
	for block := make([]byte, 4096); err == nil; {
		_, err = f.Write(block)
	}
}
