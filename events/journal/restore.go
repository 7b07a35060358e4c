package journal

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// restoreWindow is how many events of a restore may be on their way to a broker in this process.
const restoreWindow = 256

// restoringFile stands in a directory while a restore into it is not done.
func restoringFile(dir string) string { return filepath.Join(dir, "restoring") }

// Restore reads a backup into an empty log: every event gets the sequence, the content and the digest that it had. The streams are new,
// so what was folded from the old ones is found to be of another log and folded again. The file is read through before anything is
// written, and refused unless it is whole. A directory in which a restore did not end cannot be opened.
func Restore(ctx context.Context, o Options, r io.ReadSeeker) (Summary, error) {
	s, err := restore(ctx, o, r)
	if err != nil {
		return s, fmt.Errorf("restore the log: %w", err)
	}
	return s, nil
}

func restore(ctx context.Context, o Options, r io.ReadSeeker) (Summary, error) {
	a, err := openArchive(r)
	if err != nil {
		return Summary{}, err
	}
	local := o.URL == ""
	if local {
		if err := emptyDir(o.Dir); err != nil {
			return Summary{}, err
		}
		if err := writeSynced(restoringFile(o.Dir), []byte("a restore into this directory has not ended\n")); err != nil {
			return Summary{}, err
		}
	}
	o.restoring = true
	j, err := Open(ctx, o)
	if err != nil {
		return Summary{}, err
	}
	s, err := j.restore(ctx, a)
	if err := errors.Join(err, j.Close()); err != nil {
		return s, err
	}
	if !local {
		return s, nil
	}
	return s, errors.Join(os.Remove(restoringFile(o.Dir)), syncDir(o.Dir))
}

// emptyDir makes a directory, or fails with ErrUnfit when something is in it.
func emptyDir(dir string) error {
	if err := makeDir(dir); err != nil {
		return err
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	if len(files) > 0 {
		return fmt.Errorf("%w: %s is not empty (%s)", ErrUnfit, dir, files[0].Name())
	}
	return nil
}

// restore writes what a backup holds and checks that it is what the backup says.
func (j *Journal) restore(ctx context.Context, a *archiveReader) (Summary, error) {
	for _, s := range Streams() {
		if end, err := j.End(ctx, s); err != nil || end.Sequence > 0 {
			return Summary{}, errors.Join(fmt.Errorf("%w: stream %s is not empty", ErrUnfit, s), err)
		}
	}
	w := &restorer{j: j, tails: map[string]Tail{}, ends: map[Stream]uint64{}}
	var objects int
	for {
		kind, parts, err := a.next()
		if err != nil {
			return Summary{}, err
		}
		switch {
		case kind == frameEvent:
			err = w.event(ctx, parts)
		case kind == frameObject && len(parts) == 2:
			var d Digest
			if d, err = j.PutObject(ctx, parts[1]); err == nil && string(d[:]) != string(parts[0]) {
				err = fmt.Errorf("%w: object %x has another digest", ErrNoBackup, parts[0])
			}
			objects++
		case kind == frameSummary && len(parts) == 1:
			if err := w.drain(ctx, 0); err != nil {
				return Summary{}, err
			}
			return w.compare(ctx, parts[0], objects)
		default:
			err = fmt.Errorf("%w: a frame of kind %q with %d parts", ErrNoBackup, kind, len(parts))
		}
		if err != nil {
			return Summary{}, err
		}
	}
}

// restorer writes the events of a backup. It knows every sequence beforehand, so it need not wait for one to send the next.
type restorer struct {
	j       *Journal
	tails   map[string]Tail
	ends    map[Stream]uint64
	waiting []sent
	events  int
}

// sent is an event on its way.
type sent struct {
	future   jetstream.PubAckFuture
	sequence uint64
}

func (w *restorer) event(ctx context.Context, parts [][]byte) error {
	e, err := archivedEvent(parts)
	if err != nil {
		return err
	}
	stream, err := streamOf(e.Subject)
	if err != nil {
		return err
	}
	tail := w.tails[e.Subject]
	if e.Prev != tail.Digest {
		return fmt.Errorf("%w: event %s of %s does not follow event %d", ErrNoBackup, e.ID, e.Subject, tail.Sequence)
	}
	w.ends[stream]++
	w.events++
	e.Sequence = w.ends[stream]
	w.tails[e.Subject] = e.Tail()
	m := &nats.Msg{Subject: e.Subject, Header: header(e), Data: e.Data}
	m.Header[jetstream.ExpectedLastSubjSeqHeader] = []string{strconv.FormatUint(tail.Sequence, 10)}
	future, err := w.j.js.PublishMsgAsync(m)
	if err != nil {
		return err
	}
	w.waiting = append(w.waiting, sent{future, e.Sequence})
	window := restoreWindow
	if w.j.local == nil {
		window = 1 // a cluster may refuse what follows an event that it has not applied yet
	}
	return w.drain(ctx, window-1)
}

// drain waits until at most so many events are on their way.
func (w *restorer) drain(ctx context.Context, most int) error {
	for len(w.waiting) > most {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-w.waiting[0].future.Err():
			return fmt.Errorf("event %d: %w", w.waiting[0].sequence, err)
		case ack := <-w.waiting[0].future.Ok():
			if ack.Sequence != w.waiting[0].sequence {
				return fmt.Errorf("event %d was stored as %d", w.waiting[0].sequence, ack.Sequence)
			}
		}
		w.waiting = w.waiting[1:]
	}
	return nil
}

// compare holds the restored log against the backup's summary.
func (w *restorer) compare(ctx context.Context, summary []byte, objects int) (Summary, error) {
	var s Summary
	if err := json.Unmarshal(summary, &s); err != nil {
		return s, fmt.Errorf("%w: %w", ErrNoBackup, err)
	}
	if s.Events != w.events || s.Objects != objects {
		return s, fmt.Errorf("%w: it holds %d events and %d objects, and says %d and %d", ErrNoBackup, w.events, objects, s.Events, s.Objects)
	}
	for _, stream := range Streams() {
		end, err := w.j.End(ctx, stream)
		if err != nil {
			return s, err
		}
		if want := s.Ends[stream]; end.Sequence != want.Sequence || end.Digest != want.Digest {
			return s, fmt.Errorf("%w: stream %s ends at %d, the backup says %d", ErrNoBackup, stream, end.Sequence, want.Sequence)
		}
		s.Ends[stream] = end
	}
	return s, nil
}
