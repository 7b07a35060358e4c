package journal

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// A store of the broker's that met a failed write stays dead: appends get no answer, also when the cause is gone, while the broker
// reports that all is well. When the disk was full a new broker on the same store heals it, once there is room again. After any other
// failed write nothing in this process may go on: what the disk has of the last writes is not known, and a second sync would not tell.

// health is what is known of the broker's store.
type health struct {
	mu    sync.Mutex // guards err
	err   error      // why nothing can be appended now
	ended chan struct{}
	once  sync.Once // closes ended
}

func (h *health) set(err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.err = err
}

func (h *health) get() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.err
}

// fail says that the log cannot go on in this process.
func (h *health) fail(err error) {
	h.set(err)
	h.once.Do(func() { close(h.ended) })
}

// roomPause is the wait before a full disk is looked at again.
const roomPause = time.Second

// Wait blocks until the log cannot go on in this process, and returns why; the process should then end and be started anew. It returns
// the context's error when that ends first. A log kept elsewhere never fails so.
func (j *Journal) Wait(ctx context.Context) error {
	if j.local == nil {
		<-ctx.Done()
		return ctx.Err()
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-j.local.health.ended:
		return j.local.health.get()
	}
}

// watch mends the broker whenever it has reported an error, until the context ends.
func (l *local) watch(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-l.broker.troubled:
		}
		if l.broker.writeFault() == "" {
			continue
		}
		if err := l.mend(ctx); err != nil && ctx.Err() == nil {
			l.log.Error("log cannot go on", "error", err)
			l.health.fail(err)
			return
		}
	}
}

// mend takes the broker down at once, so that nobody waits for it, and starts another when there is room.
func (l *local) mend(ctx context.Context) error {
	fault := l.broker.writeFault()
	full := room(l.dir, l.spare)
	if full == nil {
		full = room(l.dir, leastFreeBytes) // a moment ago there may have been less
	}
	l.health.set(fmt.Errorf("%w: %s", ErrFull, fault))
	l.broker.stop()
	if full == nil {
		return fmt.Errorf("%w: the disk failed: %s", ErrUnknown, fault)
	}
	l.log.Warn("log stands still until the disk has room", "error", fault)
	for room(l.dir, l.spare) != nil {
		if err := pause(ctx, roomPause); err != nil {
			return err
		}
	}
	if err := l.check(); err != nil {
		return fmt.Errorf("%w: %w", ErrUnknown, err)
	}
	if err := l.broker.start(ctx); err != nil {
		return err
	}
	if err := l.settled(); err != nil {
		return fmt.Errorf("%w: %w", ErrUnknown, err)
	}
	l.health.set(nil)
	l.log.Info("log goes on")
	return nil
}

// healthy fails while the broker is down or its store is dead.
func (l *local) healthy() error {
	if err := l.health.get(); err != nil {
		return err
	}
	if fault := l.broker.writeFault(); fault != "" {
		return errors.New(fault)
	}
	return nil
}

// writeFault is what the broker itself knows of failed writes; empty for nothing.
func (b *broker) writeFault() string {
	b.mu.Lock()
	s := b.server
	b.mu.Unlock()
	if s == nil {
		return "the broker is down"
	}
	if !s.JetStreamEnabled() {
		return "the broker has closed its store"
	}
	var faults []string
	for _, e := range s.Healthz(&server.HealthzOptions{Details: true}).Errors {
		faults = append(faults, e.Error)
	}
	return strings.Join(faults, "; ")
}
