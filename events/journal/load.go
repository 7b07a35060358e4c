package journal

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
)

// loadTimeout ends the wait for one page of events.
const loadTimeout = 10 * time.Second

// page is how many events are asked for at once. A page is held in memory by the broker while it is sent.
const page = 1000

// Load returns all events of a subject with a higher sequence than after, in order: complete, or not at all. after is 0 or the
// sequence of an event of that subject, and each event is checked to follow its predecessor by digest, the first one included. An
// unknown subject has no events.
//
// Fails with ErrOtherLog when there is no event of the subject at after, with ErrDamaged when the chain is broken.
func (j *Journal) Load(ctx context.Context, subject string, after uint64) ([]Entry, error) {
	return j.LoadAfter(ctx, subject, Tail{Sequence: after})
}

// LoadAfter is Load after an event whose digest is known too, unless it is zero: it fails with ErrOtherLog when the log has another event
// there.
func (j *Journal) LoadAfter(ctx context.Context, subject string, after Tail) ([]Entry, error) {
	stream, err := streamOf(subject)
	if err != nil {
		return nil, err
	}
	entries, err := j.load(ctx, stream, subject, after)
	if err != nil {
		return nil, fmt.Errorf("load %s after %d: %w", subject, after.Sequence, err)
	}
	return entries, nil
}

func (j *Journal) load(ctx context.Context, stream Stream, subject string, tail Tail) ([]Entry, error) {
	upto, err := j.lastOf(ctx, stream, subject)
	if err != nil {
		return nil, err
	}
	after := tail.Sequence
	var entries []Entry
	var prev Entry
	// The event at after is fetched too, to see that it is there and what follows it must name.
	for from := max(after, 1); ; {
		got, pending, err := j.fetch(ctx, stream, directRequest{Seq: from, NextFor: subject, Batch: page})
		if err != nil {
			return nil, err
		}
		for _, e := range got {
			if after > 0 && prev.Sequence == 0 {
				if e.Sequence != after {
					return nil, fmt.Errorf("%w: no event of %s at %d", ErrOtherLog, subject, after)
				}
				if !tail.Digest.IsZero() && e.Digest != tail.Digest {
					return nil, fmt.Errorf("%w: event %d of %s is another one", ErrOtherLog, after, subject)
				}
				prev = e
				continue
			}
			if e.Prev != prev.Digest {
				return nil, &Damage{Stream: stream, Last: prev.Sequence,
					Reason: fmt.Sprintf("event %d of %s does not follow event %d", e.Sequence, subject, prev.Sequence)}
			}
			entries, prev = append(entries, e), e
		}
		switch {
		case pending == 0 && prev.Sequence < upto:
			// A replica that lags has answered. Ask again from where it ended.
			if err := pause(ctx, lagPause); err != nil {
				return nil, err
			}
		case pending == 0 && after > 0 && prev.Sequence == 0:
			return nil, fmt.Errorf("%w: no event of %s at %d", ErrOtherLog, subject, after)
		case pending == 0:
			return entries, j.settle(ctx, stream, prev.Sequence)
		case len(got) == 0:
			return nil, fmt.Errorf("page from %d is empty though %d events are pending", from, pending)
		}
		if prev.Sequence > 0 {
			from = prev.Sequence + 1
		}
	}
}

// lagPause is the wait before a replica that lags is asked again.
const lagPause = 5 * time.Millisecond

// lastOf is the sequence that a load must reach. One replica answers from what it acknowledged, so there is nothing to ask; with more,
// any of them may answer a load, and only the leader knows.
func (j *Journal) lastOf(ctx context.Context, stream Stream, subject string) (uint64, error) {
	if j.replicas <= 1 {
		return 0, nil
	}
	last, err := j.askLeader(ctx, stream, directRequest{LastFor: subject})
	if err != nil || last == nil {
		return 0, err
	}
	return last.Sequence, nil
}

// kept is a message as the leader of its stream hands it out.
type kept struct {
	Subject  string `json:"subject"`
	Sequence uint64 `json:"seq"`
	Header   []byte `json:"hdrs"`
	Data     []byte `json:"data"`
}

// askLeader gets one message from the leader of its stream; nil if there is none.
func (j *Journal) askLeader(ctx context.Context, stream Stream, request directRequest) (*kept, error) {
	body, err := json.Marshal(request)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, loadTimeout)
	defer cancel()
	answer, err := j.nc.RequestWithContext(ctx, "$JS.API.STREAM.MSG.GET."+string(stream), body)
	if err != nil {
		return nil, err
	}
	var reply struct {
		Error   *apiError `json:"error"`
		Message kept      `json:"message"`
	}
	if err := json.Unmarshal(answer.Data, &reply); err != nil {
		return nil, fmt.Errorf("answer of the leader: %w", err)
	}
	if reply.Error != nil && reply.Error.Code == 404 {
		return nil, nil
	}
	if reply.Error != nil {
		return nil, reply.Error
	}
	return &reply.Message, nil
}

// fetch gets one page of events and the number of those that remain behind it.
func (j *Journal) fetch(ctx context.Context, stream Stream, request directRequest) ([]Entry, uint64, error) {
	var entries []Entry
	pending, err := j.messages(ctx, string(stream), request, func(sequence uint64, subject string, m *nats.Msg) error {
		e, err := entry(subject, sequence, m.Header, m.Data)
		if err != nil {
			return &Damage{Stream: stream, Last: sequence - 1, Reason: err.Error()}
		}
		entries = append(entries, e)
		return nil
	})
	if err != nil {
		return nil, 0, err
	}
	return entries, pending, nil
}

// at reads the event at a sequence. Any replica may answer, and one that lags does not have it yet: that it is not there is only believed
// of the leader.
func (j *Journal) at(ctx context.Context, stream Stream, sequence uint64) (Entry, error) {
	got, _, err := j.fetch(ctx, stream, directRequest{Seq: sequence, Batch: 1})
	if err != nil {
		return Entry{}, err
	}
	if len(got) == 1 && got[0].Sequence == sequence {
		return got[0], nil
	}
	if j.replicas > 1 {
		m, err := j.askLeader(ctx, stream, directRequest{Seq: sequence})
		if err != nil {
			return Entry{}, err
		}
		if m != nil && m.Sequence == sequence {
			header, err := nats.DecodeHeadersMsg(m.Header)
			if err != nil {
				return Entry{}, &Damage{Stream: stream, Last: sequence - 1, Reason: err.Error()}
			}
			return entry(m.Subject, sequence, header, m.Data)
		}
	}
	return Entry{}, fmt.Errorf("%w: stream %s has no event %d", ErrOtherLog, stream, sequence)
}
