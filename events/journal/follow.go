package journal

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// batch is the most events that one call of a follower's handle gets; batchBytes ends a batch of large ones earlier. ahead is how many
// the broker sends before they are asked for one by one; a limit of bytes instead made reading four times slower.
const (
	batch      = 1000
	batchBytes = 4 << 20
	ahead      = 500
)

// glance is how long a follower looks for an event that has arrived already.
const glance = time.Microsecond

// retryPause is the wait before a lost broker is tried again.
const retryPause = 100 * time.Millisecond

// Follow reads a stream from the event after the given position, in order, without end, in batches of at most 1,000. caughtUp says
// that nothing was left behind the batch when it was read; a follower that has nothing to read is told so once, with no events. New
// events are handed out at once. A broker that goes away is waited for.
//
// Ends with the context's error, with handle's own error, with ErrOtherLog when the position is not of this log, or with ErrDamaged.
func (j *Journal) Follow(ctx context.Context, stream Stream, from Position, handle func(events []Entry, caughtUp bool) error) error {
	if err := stream.check(); err != nil {
		return err
	}
	f := follower{j: j, stream: stream, at: from, handle: handle}
	for {
		err := f.run(ctx)
		var stop *stopped
		switch {
		case errors.As(err, &stop):
			return stop.err
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, ErrOtherLog), errors.Is(err, ErrDamaged):
			return fmt.Errorf("follow %s from %d: %w", stream, f.at.Sequence, err)
		case j.nc.IsClosed():
			return fmt.Errorf("follow %s: %w", stream, ErrClosed)
		}
		j.log.Warn("log cannot be read, trying again", "stream", stream, "after", f.at.Sequence, "error", err)
		if err := pause(ctx, retryPause); err != nil {
			return err
		}
	}
}

// stopped carries handle's error past the errors that are worth another try.
type stopped struct{ err error }

func (s *stopped) Error() string { return s.err.Error() }

// follower is one reader of a stream.
type follower struct {
	j      *Journal
	stream Stream
	at     Position // last event handed out
	handle func([]Entry, bool) error
}

// run reads until something fails. It checks anew that the log is the one it has read so far: the broker may have come back with
// another.
func (f *follower) run(ctx context.Context) error {
	ctx, release := f.j.link.bound(ctx)
	defer release()
	stream, err := f.j.js.Stream(ctx, string(f.stream))
	if err != nil {
		return err
	}
	if err := f.j.belongs(ctx, f.stream, f.at, stream.CachedInfo()); err != nil {
		return err
	}
	f.at.Created = stream.CachedInfo().Created.UTC()
	name := rand.Text()
	defer discard(ctx, stream, name) // also when creating it fails: the broker may have made it and its answer not have come
	consumer, err := stream.CreateConsumer(ctx, jetstream.ConsumerConfig{
		Name:              name,
		DeliverPolicy:     jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:       f.at.Sequence + 1,
		AckPolicy:         jetstream.AckNonePolicy,
		MemoryStorage:     true,
		Replicas:          1,
		InactiveThreshold: time.Minute,
	})
	if err != nil {
		return err
	}
	if consumer.CachedInfo().NumPending == 0 {
		if err := f.hand(ctx, nil, true); err != nil {
			return err
		}
	}
	messages, err := consumer.Messages(jetstream.PullMaxMessages(ahead), jetstream.PullExpiry(5*time.Second))
	if err != nil {
		return err
	}
	defer messages.Stop()
	return f.read(ctx, messages)
}

// discard takes a reader's consumer off the broker. If that fails the broker does it by itself, when nobody has used it for a while.
func discard(ctx context.Context, stream jetstream.Stream, name string) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
	defer cancel()
	_ = stream.DeleteConsumer(ctx, name)
}

func (f *follower) read(ctx context.Context, messages jetstream.MessagesContext) error {
	var events []Entry
	last, bytes, caughtUp := f.at.Sequence, 0, false
	for {
		wait := jetstream.NextContext(ctx)
		if caughtUp {
			wait = jetstream.NextMaxWait(glance)
		}
		m, err := messages.Next(wait)
		if caughtUp && errors.Is(err, nats.ErrTimeout) {
			if err := f.hand(ctx, events, true); err != nil {
				return err
			}
			events, bytes, caughtUp = nil, 0, false
			continue
		}
		if err != nil {
			if len(events) > 0 && ctx.Err() == nil { // what has arrived is good
				return errors.Join(f.hand(ctx, events, false), err)
			}
			return err
		}
		meta, err := m.Metadata()
		if err != nil {
			return err
		}
		if meta.Sequence.Stream != last+1 {
			return f.gap(ctx, last, meta.Sequence.Stream)
		}
		e, err := entry(m.Subject(), meta.Sequence.Stream, m.Headers(), m.Data())
		if err != nil {
			return &Damage{Stream: f.stream, Last: last, Reason: err.Error()}
		}
		events, last, bytes = append(events, e), meta.Sequence.Stream, bytes+len(e.Data)
		// The broker sends what is appended at once, so what came while the last batch was handled waits here, and each event was the last
		// when it was sent: only when none waits is there nothing left.
		if caughtUp = meta.NumPending == 0; len(events) == batch || bytes >= batchBytes {
			if err := f.hand(ctx, events, false); err != nil {
				return err
			}
			events, bytes = nil, 0
		}
	}
}

func (f *follower) hand(ctx context.Context, events []Entry, caughtUp bool) error {
	if n := len(events); n > 0 {
		if err := f.j.settle(ctx, f.stream, events[n-1].Sequence); err != nil {
			return err
		}
	}
	if err := f.handle(events, caughtUp); err != nil {
		return &stopped{err: err}
	}
	if n := len(events); n > 0 {
		f.at.Sequence, f.at.Digest = events[n-1].Sequence, events[n-1].Digest
	}
	return nil
}

// gap decides whether events that did not come were lost on the way, which another try heals, or are not in the log.
func (f *follower) gap(ctx context.Context, last, next uint64) error {
	_, err := f.j.at(ctx, f.stream, last+1)
	if errors.Is(err, ErrOtherLog) {
		return &Damage{Stream: f.stream, Last: last, Reason: fmt.Sprintf("event %d is followed by event %d", last, next)}
	}
	return errors.Join(fmt.Errorf("event %d came after event %d", next, last), err)
}
