package courier

import (
	"context"
	"log/slog"
	"strconv"
	"sync"
	"time"

	"github.com/ThreeDotsLabs/watermill"
	"github.com/ThreeDotsLabs/watermill/message"

	"bydark/events/journal"
)

// feed gives Watermill the events of one reader of the log. It hands out one at a time,
// keeps telling the broker that an event is being worked on for as long as it is, and
// acknowledges after the effect. It never gives Watermill nothing to handle: what cannot
// be read becomes a message that says so.
type feed struct {
	log    *journal.Journal
	read   journal.Reading
	logger *slog.Logger

	ended sync.WaitGroup
}

// reopenPause is the wait before a broker that went away is tried again, and again the
// one before an event that was given back is handed out again.
const (
	reopenPause = time.Second
	againPause  = 2 * time.Second
)

// The metadata of a message. The rest of what Watermill's poison queue adds is its own.
const (
	metaSequence   = "sequence"
	metaSubject    = "subject"
	metaUnreadable = "unreadable"
)

// entryKey finds the event in a message's context.
type entryKey struct{}

// Subscribe begins to read; the topic is the reader's name.
func (f *feed) Subscribe(ctx context.Context, _ string) (<-chan *message.Message, error) {
	out := make(chan *message.Message)
	f.ended.Go(func() {
		defer close(out)
		for ctx.Err() == nil {
			if err := f.run(ctx, out); err != nil && ctx.Err() == nil {
				f.logger.Warn("events cannot be read to be told, trying again", "reader", f.read.Name, "error", err)
				pause(ctx, reopenPause)
			}
		}
	})
	return out, nil
}

// Close waits for the reading to end, which its context ends. The connection is the
// journal's and stays.
func (f *feed) Close() error {
	f.ended.Wait()
	return nil
}

func (f *feed) run(ctx context.Context, out chan<- *message.Message) error {
	reader, err := f.log.Reader(ctx, f.read)
	if err != nil {
		return err
	}
	defer reader.Close()
	for {
		d, err := reader.Next(ctx)
		if err != nil {
			return err
		}
		if err := f.hand(ctx, d, reader.Wait(), out); err != nil {
			return err
		}
	}
}

// hand hands one event out and stays with it until it is dealt with.
func (f *feed) hand(ctx context.Context, d journal.Delivery, wait time.Duration, out chan<- *message.Message) error {
	m := message.NewMessage(watermill.NewUUID(), d.Entry.Data)
	m.Metadata.Set(metaSequence, strconv.FormatUint(d.Entry.Sequence, 10))
	m.Metadata.Set(metaSubject, d.Entry.Subject)
	if d.Unreadable != "" {
		m.Metadata.Set(metaUnreadable, d.Unreadable)
	}
	work, stop := context.WithCancel(context.WithValue(ctx, entryKey{}, d.Entry))
	defer stop()
	m.SetContext(work)
	beat := time.NewTicker(max(wait/4, time.Millisecond))
	defer beat.Stop()
	for sent := false; ; {
		into := out
		if sent {
			into = nil
		}
		select {
		case into <- m:
			sent = true
		case <-m.Acked():
			return d.Done(context.WithoutCancel(ctx))
		case <-m.Nacked():
			return d.Again(againPause)
		case <-beat.C:
			if err := d.Working(); err != nil {
				return err
			}
		case <-ctx.Done():
			if sent { // the handler ends with its context; what it did is to be known
				select {
				case <-m.Acked():
					return d.Done(context.WithoutCancel(ctx))
				case <-m.Nacked():
				}
			}
			return d.Again(0)
		}
	}
}

func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
