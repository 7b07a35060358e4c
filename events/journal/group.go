package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
)

// syncer makes the block files of one stream durable, once for all who wait: while a sync runs others write, and the next sync is
// theirs. Whoever finds none under way runs it. A sync that failed is the last one, because after it nobody can tell what the disk has.
type syncer struct {
	dir     string             // of the block files
	noted   func(uint64) error // takes note of what is durable
	failed  func(error)        // hears of the first failure
	figures *figures

	synced atomic.Uint64 // last durable sequence

	mu      sync.Mutex    // guards what follows, but for file and block
	written uint64        // last sequence that the broker is known to have written
	waiting int           // callers that the next sync will serve
	under   chan struct{} // closed when the sync under way ends; nil when there is none
	err     error

	// The newest block that was seen. They belong to whoever runs the sync.
	file  *os.File
	block int
}

// settle returns when the event at sequence, which the broker has written, is durable.
func (y *syncer) settle(ctx context.Context, sequence uint64) error {
	if y.synced.Load() >= sequence {
		return nil
	}
	y.mu.Lock()
	defer y.mu.Unlock()
	y.written = max(y.written, sequence)
	y.waiting++
	for y.err == nil && y.synced.Load() < sequence {
		if y.under == nil {
			y.run()
			continue
		}
		under := y.under
		y.mu.Unlock()
		select {
		case <-under:
		case <-ctx.Done():
		}
		y.mu.Lock()
		if ctx.Err() != nil && y.synced.Load() < sequence {
			return context.Cause(ctx)
		}
	}
	if y.synced.Load() >= sequence {
		return nil
	}
	return y.err
}

// run syncs what is written now. It lets go of the lock meanwhile.
func (y *syncer) run() {
	upto, group := y.written, y.waiting
	y.waiting = 0
	under := make(chan struct{})
	y.under = under
	y.mu.Unlock()

	took := stopwatch()
	err := y.sync()
	if err == nil {
		y.figures.synced(group, took())
		err = y.noted(upto)
	}

	y.mu.Lock()
	y.under = nil
	if err != nil {
		y.err = err
		y.failed(err)
	} else {
		y.synced.Store(upto)
	}
	close(under)
}

// sync makes all blocks from the newest seen so far to the newest there is durable, and their names. The broker writes a block no more
// once there is a next one, so the order is: see whether there is a next one, sync, go on to it.
func (y *syncer) sync() error {
	named := false
	for {
		next, err := openScarce(y.path(y.block + 1))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if y.file == nil && next == nil {
			return fmt.Errorf("there is no block %d in %s", y.block+1, y.dir)
		}
		if y.file != nil {
			if err := syncContent(y.file); err != nil {
				return errors.Join(fmt.Errorf("sync %s: %w", y.file.Name(), err), closed(next))
			}
		}
		if next == nil {
			break
		}
		err = closed(y.file)
		y.file, y.block, named = next, y.block+1, true
		if err != nil {
			return err
		}
	}
	if named {
		return syncDir(y.dir)
	}
	return nil
}

// scarceTries is how often a file is opened again, scarcePause apart, while this process or the machine has no descriptor to spare. What is
// to be synced is still in the system's memory meanwhile, and nobody has been told of it.
const (
	scarceTries = 100
	scarcePause = 50 * time.Millisecond
)

func openScarce(path string) (*os.File, error) {
	for tries := 1; ; tries++ {
		f, err := os.Open(path)
		if tries == scarceTries || !errors.Is(err, syscall.EMFILE) && !errors.Is(err, syscall.ENFILE) {
			return f, err
		}
		if err := pause(context.Background(), scarcePause); err != nil {
			return nil, err
		}
	}
}

func (y *syncer) path(block int) string { return filepath.Join(y.dir, fmt.Sprintf("%d.blk", block)) }

// start begins at the end of a log that is durable up to a sequence.
func (y *syncer) start(last uint64) error {
	y.mu.Lock()
	defer y.mu.Unlock()
	if err := y.close(); err != nil || y.err != nil {
		return errors.Join(err, y.err)
	}
	blocks, err := blockFiles(y.dir)
	if err != nil {
		return err
	}
	y.block = 0
	if n := len(blocks); n > 0 {
		y.block = blocks[n-1].number
		if y.file, err = os.Open(blocks[n-1].path); err != nil {
			return err
		}
	}
	y.written = last
	y.synced.Store(last)
	return y.noted(last)
}

// close lets go of the block when the sync under way has ended. The lock is held.
func (y *syncer) close() error {
	for y.under != nil {
		under := y.under
		y.mu.Unlock()
		<-under
		y.mu.Lock()
	}
	err := closed(y.file)
	y.file = nil
	return err
}

// closed closes a file if there is one.
func closed(f *os.File) error {
	if f == nil {
		return nil
	}
	return f.Close()
}

// syncContent makes a file's content durable, and its length, but not its times, which cost a write of their own.
func syncContent(f *os.File) error {
	for {
		if err := syscall.Fdatasync(int(f.Fd())); err != syscall.EINTR {
			return err
		}
	}
}
