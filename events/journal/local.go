package journal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"

	"github.com/nats-io/nats.go"
)

// local is a log in a directory of ours:
//
//	lock          taken while a process uses the directory
//	acknowledged  the last sequence of each stream that somebody may have been told about
//	stopped       there while nobody uses the log and all of it is durable
//	broker/       the store
//	objects/      what is too large for an event, one file each
//	shelf/        what follows from events and takes long to make again
//	pulse         written to see whether the disk takes it
//	cut-*         torn ends that were taken off the store
type local struct {
	dir        string
	spare      int64 // bytes that must stay free, 0 for the usual
	restoring  bool  // a restore is going on, which syncs everything in the end
	log        *slog.Logger
	lock       *directoryLock
	figures    *figures
	durability *durability
	closed     bool // durability is: it stays, because appends in flight still ask it
	broker     *broker
	serving    bool // all that the log holds is durable, and only the syncers add to it
	health     health
	watcher    sync.WaitGroup
	unwatch    context.CancelFunc
	ends       map[Stream]uint64 // last sequences as the blocks had them before the broker opened them
}

// open takes the directory, looks through the store, and runs the broker on it, in this order. What it has reached when it fails is
// undone by close.
func (l *local) open(ctx context.Context, anyFileSystem bool, link *link) (_ *nats.Conn, err error) {
	if err := makeDir(l.dir); err != nil {
		return nil, err
	}
	if l.lock, err = lockDirectory(l.dir); err != nil {
		return nil, err
	}
	if !anyFileSystem {
		if err := fitDisk(l.dir); err != nil {
			return nil, err
		}
	}
	if _, err := os.Stat(restoringFile(l.dir)); err == nil && !l.restoring {
		return nil, fmt.Errorf("%w: a restore into %s did not end; empty it and restore again", ErrUnfit, l.dir)
	}
	failed := func(err error) { l.health.fail(fmt.Errorf("%w: the disk failed: %w", ErrUnknown, err)) }
	if l.durability, err = openDurability(l.dir, l.log, l.figures, failed); err != nil {
		return nil, err
	}
	if err := l.check(); err != nil {
		return nil, err
	}
	if err := errors.Join(l.objects().open(), l.shelf().tidy()); err != nil {
		return nil, err
	}
	if l.broker, err = startBroker(ctx, l.dir, l.log); err != nil {
		return nil, err
	}
	watching, unwatch := context.WithCancel(context.WithoutCancel(ctx))
	l.unwatch = unwatch
	l.watcher.Go(func() { l.watch(watching) })
	l.watcher.Go(func() { l.durability.keep(watching, l.log) })
	return connectLocal(l.broker, link)
}

func (l *local) objects() objectDir { return objectDir(filepath.Join(l.dir, "objects")) }

func (l *local) shelf() shelfDir { return shelfDir(filepath.Join(l.dir, "shelf")) }

// check reads all streams' blocks, and changes the store only when no stream is damaged. After a clean stop the store must be as the
// broker left it. Otherwise the end of a stream may be any mixture of what was written and what was there before, and the broker's index
// may be of any age: what nobody was told about is cut off, and the broker makes its index anew.
func (l *local) check() error {
	stopped, err := stoppedClean(l.dir)
	if err != nil {
		return err
	}
	if !stopped {
		if err := rereadFiles(storeDir(l.dir)); err != nil {
			return err
		}
	}
	cuts := map[Stream]*torn{}
	for _, s := range Streams() {
		c := checker{dir: l.dir, stream: s, durable: l.durability.durable(s), stopped: stopped}
		last, cut, err := c.check()
		if err != nil {
			return err
		}
		l.ends[s] = last
		if cut != nil {
			cuts[s] = cut
		}
	}
	if err := notStopped(l.dir, !stopped); err != nil {
		return err
	}
	for s, cut := range cuts {
		if err := cut.cutOff(l.dir, s, l.log); err != nil {
			return err
		}
	}
	return nil
}

// settled makes all that the log holds durable, whoever wrote it and whatever became of them, before anybody is shown it.
func (l *local) settled() error {
	if err := errors.Join(syncFiles(storeDir(l.dir)), syncDirs(l.dir)); err != nil {
		return err
	}
	for s, last := range l.ends {
		if err := l.durability.streams[s].start(last); err != nil {
			return err
		}
	}
	l.serving = true
	return nil
}

// opened compares what the broker found in a stream with what was in its blocks.
func (l *local) opened(s Stream, last uint64) error {
	if last == l.ends[s] {
		return nil
	}
	return &Damage{Stream: s, Last: min(last, l.ends[s]),
		Reason: fmt.Sprintf("the broker found events up to %d, its blocks hold events up to %d", last, l.ends[s])}
}

func (l *local) close() error {
	var err error
	if l.unwatch != nil {
		l.unwatch()
		l.watcher.Wait()
	}
	if l.broker != nil {
		l.broker.stop()
	}
	if l.durability != nil && !l.closed {
		clean := l.serving && l.health.get() == nil
		if clean {
			err = errors.Join(syncFiles(storeDir(l.dir)), syncDirs(l.dir))
		}
		err = errors.Join(err, l.durability.close())
		if clean && err == nil {
			err = writeSynced(stoppedFile(l.dir), []byte("the log was closed, and all of it is durable\n"))
		}
		l.closed = true
	}
	if l.lock != nil {
		err = errors.Join(err, l.lock.release())
		l.lock = nil
	}
	return err
}
