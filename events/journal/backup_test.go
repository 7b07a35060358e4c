package journal_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"bydark/events/journal"
	"bydark/events/journal/journaltest"
)

// full fills a log with events of several subjects and objects, and returns the subjects.
func full(t *testing.T, j *journal.Journal, events int) []string {
	t.Helper()
	subjects := []string{"roof.acme.j-1", "roof.acme.j-2", "sky.acme.j-1", "door.acme"}
	tails := map[string]journal.Tail{}
	for i := range events {
		s := subjects[i%len(subjects)]
		tails[s] = journaltest.Append(t, j, s, tails[s], journaltest.Event(i))
	}
	for _, size := range []int{0, 10, 700 << 10} {
		if _, err := j.PutObject(t.Context(), bytes.Repeat([]byte{byte(size)}, size)); err != nil {
			t.Fatal(err)
		}
	}
	return subjects
}

func TestBackupAndRestore(t *testing.T) {
	for _, from := range journaltest.Kinds() {
		for _, to := range []string{"embedded", "remote"} {
			t.Run(from.Name+" to "+to, func(t *testing.T) {
				j := from.Start(t)(t)
				subjects := full(t, j, 400)
				var file bytes.Buffer
				made, err := j.Backup(t.Context(), &file)
				if err != nil || made.Events != 400 || made.Objects != 3 {
					t.Fatalf("backup: %+v, %v", made, err)
				}
				o := journal.Options{Dir: filepath.Join(t.TempDir(), "new")}
				if to == "remote" {
					o = journaltest.StartServer(t, nil).Options()
				}
				restored, err := journal.Restore(t.Context(), o, bytes.NewReader(file.Bytes()))
				if err != nil || restored.Events != 400 || restored.Objects != 3 {
					t.Fatalf("restore: %+v, %v", restored, err)
				}
				if _, err := journal.Restore(t.Context(), o, bytes.NewReader(file.Bytes())); !errors.Is(err, journal.ErrUnfit) {
					t.Errorf("restore into what is not empty: %v", err)
				}
				k := journaltest.OpenWith(t, o)
				for _, s := range subjects {
					if !slices.EqualFunc(journaltest.Load(t, j, s, 0), journaltest.Load(t, k, s, 0), same) {
						t.Errorf("%s is another", s)
					}
				}
				have, err := k.Objects(t.Context())
				if err != nil || len(have) != 3 {
					t.Errorf("objects: %v, %v", have, err)
				}
				for s, old := range made.Ends {
					if err := k.Follow(t.Context(), s, old, nil); !errors.Is(err, journal.ErrOtherLog) {
						t.Errorf("the old checkpoint of %s is good in the new log: %v", s, err)
					}
					if _, _, err := k.Verify(t.Context(), s, func(p string) { t.Error(p) }); err != nil {
						t.Error(err)
					}
				}
				events := journaltest.Load(t, k, subjects[0], 0)
				journaltest.Append(t, k, subjects[0], events[len(events)-1].Tail(), journaltest.Event(5000))
			})
		}
	}
}

func same(a, b journal.Entry) bool {
	return a.Sequence == b.Sequence && a.Digest == b.Digest && a.ID == b.ID && a.Time.Equal(b.Time) && bytes.Equal(a.Data, b.Data)
}

// F56: a backup that is made while others write holds a whole beginning of each stream.
func TestBackupWhileWriting(t *testing.T) {
	j := journaltest.Open(t)
	var group sync.WaitGroup
	stop := make(chan struct{})
	for w := range 4 {
		group.Go(func() {
			var tail journal.Tail
			for i := 0; ; i++ {
				select {
				case <-stop:
					return
				default:
					tail = journaltest.Append(t, j, fmt.Sprintf("roof.acme.j-%d", w), tail, journaltest.Event(i))
				}
			}
		})
	}
	backups := make([]bytes.Buffer, journaltest.Rounds(t, 3))
	made := make([]journal.Summary, len(backups))
	for n := range backups {
		var err error
		if made[n], err = j.Backup(t.Context(), &backups[n]); err != nil {
			t.Error(err)
		}
	}
	close(stop)
	group.Wait()
	for n := range backups {
		restored, err := journal.Restore(t.Context(), journal.Options{Dir: filepath.Join(t.TempDir(), "new")}, bytes.NewReader(backups[n].Bytes()))
		if err != nil || restored.Events != made[n].Events || restored.Ends[journal.Roof].Digest != made[n].Ends[journal.Roof].Digest {
			t.Errorf("restored %+v of %+v: %v", restored, made[n], err)
		}
	}
}

// F56: a backup with any bit changed, or cut short, is refused before anything is written.
func TestBackupDamaged(t *testing.T) {
	chance := journaltest.Seed(t)
	j := journaltest.Open(t)
	full(t, j, 60)
	var file bytes.Buffer
	if _, err := j.Backup(t.Context(), &file); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "new")
	refuse := func(what string, b []byte) {
		t.Helper()
		if s, err := journal.Restore(t.Context(), journal.Options{Dir: dir}, bytes.NewReader(b)); err == nil {
			t.Errorf("%s: restored %+v", what, s)
		}
		if _, err := os.Stat(dir); !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("%s: something was written", what)
		}
	}
	for range 50 * journaltest.Rounds(t, 2) {
		b := bytes.Clone(file.Bytes())
		at := chance.IntN(len(b))
		b[at] ^= 1 << chance.IntN(8)
		refuse(fmt.Sprintf("byte %d", at), b)
		refuse(fmt.Sprintf("cut at %d", at), file.Bytes()[:at])
	}
	refuse("one byte more", append(bytes.Clone(file.Bytes()), 0))
}

// F05, F56: a directory in which a restore did not end is not opened.
func TestRestoreCutOff(t *testing.T) {
	j := journaltest.Open(t)
	full(t, j, 100)
	var file bytes.Buffer
	if _, err := j.Backup(t.Context(), &file); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "new")
	stalled := &cutReader{Reader: bytes.NewReader(file.Bytes()), seeks: 3, good: len("bydark backup 1\n") + 5000}
	if _, err := journal.Restore(t.Context(), journal.Options{Dir: dir}, stalled); !errors.Is(err, errCut) {
		t.Fatalf("restore: %v", err)
	}
	if _, err := journal.Open(t.Context(), journal.Options{Dir: dir}); !errors.Is(err, journal.ErrUnfit) {
		t.Errorf("open: %v", err)
	}
}

var errCut = errors.New("the disk with the backup was pulled out")

// cutReader fails after some bytes that follow the last of some seeks.
type cutReader struct {
	*bytes.Reader
	seeks, good int
}

func (c *cutReader) Seek(offset int64, whence int) (int64, error) {
	c.seeks--
	return c.Reader.Seek(offset, whence)
}

func (c *cutReader) Read(p []byte) (int, error) {
	if c.seeks > 0 {
		return c.Reader.Read(p)
	}
	if c.good <= 0 {
		return 0, errCut
	}
	n, err := c.Reader.Read(p[:min(len(p), c.good)])
	c.good -= n
	return n, err
}
