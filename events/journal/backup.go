package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
)

// Backup writes all streams and objects to one file, while the log is in use: each stream up to where it ends when its turn comes, then
// the objects, so that every object that an event names is in the file. Events are checked on the way; a damaged log is not backed up.
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
	for _, stream := range Streams() {
		end, err := j.End(ctx, stream)
		if err != nil {
			return s, err
		}
		s.Ends[stream] = end
		n, err := j.backupStream(ctx, stream, end, a)
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
