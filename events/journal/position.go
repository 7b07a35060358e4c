package journal

import (
	"context"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// End is the position of the stream's last event; with none, sequence and digest are zero. Fails with ErrClosed on a closed journal.
func (j *Journal) End(ctx context.Context, stream Stream) (Position, error) {
	if err := stream.check(); err != nil {
		return Position{}, err
	}
	if err := j.connected(ctx); err != nil {
		return Position{}, fmt.Errorf("end of %s: %w", stream, err)
	}
	s, err := j.js.Stream(ctx, string(stream))
	if err != nil {
		return Position{}, fmt.Errorf("end of %s: %w", stream, err)
	}
	info := s.CachedInfo()
	end := Position{Created: info.Created.UTC(), Sequence: info.State.LastSeq}
	if end.Sequence == 0 {
		return end, nil
	}
	last, err := j.at(ctx, stream, end.Sequence)
	if err == nil {
		err = j.settle(ctx, stream, end.Sequence)
	}
	if err != nil {
		return Position{}, fmt.Errorf("end of %s: %w", stream, err)
	}
	end.Digest = last.Digest
	return end, nil
}

// belongs fails with ErrOtherLog when a position was not reached in this stream. The broker itself would say nothing: a reader that
// starts beyond the end waits in silence, and one that starts in another log reads on.
func (j *Journal) belongs(ctx context.Context, stream Stream, p Position, info *jetstream.StreamInfo) error {
	if !p.Created.IsZero() && !p.Created.Equal(info.Created) {
		return fmt.Errorf("%w: stream %s was made %v, the position's %v", ErrOtherLog, stream, info.Created.UTC(), p.Created.UTC())
	}
	if p.Sequence == 0 {
		return nil
	}
	if p.Sequence > info.State.LastSeq {
		return fmt.Errorf("%w: stream %s ends at %d, the position is %d", ErrOtherLog, stream, info.State.LastSeq, p.Sequence)
	}
	e, err := j.at(ctx, stream, p.Sequence)
	if err != nil {
		return err
	}
	if e.Digest != p.Digest {
		return fmt.Errorf("%w: event %d of %s is another one", ErrOtherLog, p.Sequence, stream)
	}
	return nil
}
