package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
)

// Backup writes all streams and objects to one file, while the log is in use: what it holds at one moment, as far as anybody can tell from
// the file. The ends of the streams are taken first, those that refer to others before those, and the objects last, so that whatever an
// event in the file names is in the file. Events are checked on the way; a damaged log is not backed up.
func (j *Journal) Backup(ctx context.Context, w io.Writer) (Summary, error) {
	s, err := j.backup(ctx, w)
	if err != nil {
		return s, fmt.Errorf("back up the log: %w", err)
	}
	return s, nil
}

func (j *Journal) backup(ctx context.Context, w io.Writer) (Summary, error) {
	s := Summary{Ends: map[Stream]Position{}}
	a := newArchiveWriter(w)
	for _, stream := range slices.Backward(Streams()) {
		end, err := j.End(ctx, stream)
		if err != nil {
			return s, err
		}
		s.Ends[stream] = end
	}
	for _, stream := range Streams() {
		n, err := j.backupStream(ctx, stream, s.Ends[stream], a)
		if s.Events += n; err != nil {
			return s, err
		}
	}
	objects, err := j.Objects(ctx)
	if err != nil {
		return s, err
	}
	for _, o := range objects {
		if !o.Whole {
			continue // it was never answered as stored; whoever is putting it will put it again
		}
		data, err := j.Object(ctx, o.Digest)
		if errors.Is(err, ErrNotFound) {
			continue // dropped since it was listed
		}
		if err != nil {
			return s, err
		}
		if err := a.frame(frameObject, o.Digest[:], data); err != nil {
			return s, err
		}
		s.Objects++
	}
	return s, a.close(s, w)
}

// backupStream writes a stream's events up to a position.
func (j *Journal) backupStream(ctx context.Context, stream Stream, end Position, a *archiveWriter) (n int, err error) {
	if end.Sequence == 0 {
		return 0, nil
	}
	reached := errors.New("reached the end")
	err = j.Follow(ctx, stream, Position{}, func(events []Entry, _ bool) error {
		for _, e := range events {
			if e.Sequence > end.Sequence {
				break
			}
			if err := a.event(e); err != nil {
				return err
			}
			n++
		}
		if uint64(n) >= end.Sequence {
			return reached
		}
		return nil
	})
	if errors.Is(err, reached) {
		return n, nil
	}
	return n, err
}
