package journal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"

	"github.com/nats-io/nats.go"
)

// local is a log in a directory of ours:
//
//	lock          taken while a process uses the directory
//	acknowledged  the last sequence of each stream that somebody was told about
//	broker/       the store
//	cut-*         torn ends that were taken off the store
type local struct {
	dir        string
	spare      int64 // bytes that must stay free, 0 for the usual
	restoring  bool  // a restore is going on, which syncs everything in the end
	log        *slog.Logger
	lock       *directoryLock
	durability *durability
	broker     *broker
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
	if l.durability, err = openDurability(l.dir, l.log); err != nil {
		return nil, err
	}
	if err := l.check(); err != nil {
		return nil, err
	}
	if l.broker, err = startBroker(ctx, l.dir, !l.restoring, l.log); err != nil {
		return nil, err
	}
	watching, unwatch := context.WithCancel(context.WithoutCancel(ctx))
	l.unwatch = unwatch
	l.watcher.Go(func() { l.watch(watching) })
	return connectLocal(l.broker, link)
}

// check reads all streams' blocks, and cuts torn ends off only when no stream is damaged.
func (l *local) check() error {
	cuts := map[Stream]*torn{}
	for _, s := range Streams() {
		last, cut, err := precheck(l.dir, s, l.durability.acknowledged(s))
		if err != nil {
			return err
		}
		l.ends[s] = last
		if cut != nil {
			cuts[s] = cut
		}
	}
	for s, cut := range cuts {
		if err := cut.cutOff(l.dir, s, l.log); err != nil {
			return err
		}
	}
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
	if l.durability != nil {
		err = l.durability.close()
		l.durability = nil
	}
	if l.lock != nil {
		err = errors.Join(err, l.lock.release())
		l.lock = nil
	}
	return err
}
