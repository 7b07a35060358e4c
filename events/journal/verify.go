package journal

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
)

// Verify reads a stream whole, up to where it ends now, and tells problem in words of everything that is not as it was written: an
// event that is missing, one whose content is not its digest's, one that does not follow its predecessor, a time of recording that
// goes back, and, where the log is on our own disk, a block that cannot be read. It returns how many events and subjects it read.
func (j *Journal) Verify(ctx context.Context, stream Stream, problem func(string)) (events, subjects int, err error) {
	if err := stream.check(); err != nil {
		return 0, 0, err
	}
	info, err := j.js.Stream(ctx, string(stream))
	if err != nil {
		return 0, 0, fmt.Errorf("verify %s: %w", stream, err)
	}
	if err := whole(stream, info.CachedInfo().State); err != nil {
		problem(err.Error())
	}
	if err := j.settle(ctx, stream, info.CachedInfo().State.LastSeq); err != nil {
		return 0, 0, fmt.Errorf("verify %s: %w", stream, err)
	}
	v := verifier{stream: stream, problem: problem, tails: map[string]Tail{}}
	for end := info.CachedInfo().State.LastSeq; v.last < end; {
		before := v.last
		_, err := j.messages(ctx, string(stream), directRequest{Seq: v.last + 1, Batch: page}, v.next)
		if err != nil {
			return v.events, len(v.tails), fmt.Errorf("verify %s after %d: %w", stream, v.last, err)
		}
		if v.last == before {
			problem(fmt.Sprintf("%s: events %d to %d are missing", stream, before+1, end))
			break
		}
	}
	if j.local == nil {
		return v.events, len(v.tails), nil
	}
	// The store may grow while it is read, so a torn end is no problem here.
	var damage *Damage
	c := checker{dir: j.local.dir, stream: stream, stopped: true}
	if _, _, err := c.readBlocks(); errors.As(err, &damage) {
		problem(damage.Error())
	} else if err != nil {
		return v.events, len(v.tails), fmt.Errorf("verify %s: %w", stream, err)
	}
	return v.events, len(v.tails), nil
}

// verifier looks at the messages of a stream in turn.
type verifier struct {
	stream  Stream
	problem func(string)
	tails   map[string]Tail
	last    uint64
	events  int
}

func (v *verifier) next(sequence uint64, subject string, m *nats.Msg) error {
	say := func(format string, a ...any) error {
		v.problem(fmt.Sprintf("%s: ", v.stream) + fmt.Sprintf(format, a...))
		return nil
	}
	if sequence != v.last+1 {
		_ = say("events %d to %d are missing", v.last+1, sequence-1)
	}
	v.last = sequence
	v.events++
	e, err := entry(subject, sequence, m.Header, m.Data)
	if err != nil {
		return say("%v", err)
	}
	tail := v.tails[subject]
	if e.Prev != tail.Digest {
		_ = say("event %d of %s does not follow event %d", sequence, subject, tail.Sequence)
	}
	if e.Recorded.Before(tail.Recorded) {
		_ = say("event %d of %s was recorded %s, before its predecessor", sequence, subject, e.Recorded.Format(time.RFC3339Nano))
	}
	v.tails[subject] = e.Tail()
	return nil
}
