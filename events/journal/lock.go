package journal

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// directoryLock keeps other processes out of a directory. The broker itself does not: two of them on one store overwrite each other's
// acknowledged events. The kernel lets go when the process dies, however it dies.
type directoryLock struct{ file *os.File }

// lockDirectory takes DIR/lock or fails with ErrLocked and the holder's process id.
func lockDirectory(dir string) (*directoryLock, error) {
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		defer f.Close() //nolint:errcheck // nothing was written
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("lock %s: %w", f.Name(), err)
		}
		return nil, fmt.Errorf("%w: %s is held by process %s", ErrLocked, dir, holder(f))
	}
	if err := errors.Join(f.Truncate(0), writeAt(f, fmt.Sprintf("%d\n", os.Getpid()))); err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", f.Name(), err), f.Close())
	}
	return &directoryLock{file: f}, nil
}

func writeAt(f *os.File, s string) error {
	_, err := f.WriteAt([]byte(s), 0)
	return err
}

// holder reads the process id. The holder writes it right after it took the lock, so it may be missing for a moment.
func holder(f *os.File) string {
	for range 50 {
		text, err := io.ReadAll(io.NewSectionReader(f, 0, 32))
		if pid := strings.TrimSpace(string(text)); err == nil && strings.HasSuffix(string(text), "\n") {
			return pid
		}
		time.Sleep(time.Millisecond) //nolint:forbidigo // another process writes it, and gives no sign
	}
	return "unknown"
}

// release lets go. The file stays: taking it away would let two processes lock two files of the same name.
func (l *directoryLock) release() error { return l.file.Close() }
