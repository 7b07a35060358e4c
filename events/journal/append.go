package journal

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// MaxEntry is the most that one event may weigh, headers included, in bytes. The broker's own limit is 1 MiB.
const MaxEntry = 900 << 10

// appendTimeout ends the wait for an acknowledgement. A cluster that lost its leader needs 4 to 9 s to choose another.
const appendTimeout = 15 * time.Second

// Append writes e as the event after the one given, which must be the subject's last; the zero Tail means that e is the first. It
// returns only when e is synced, with e as the new last event. Recorded is raised to its predecessor's if it is lower, so that it
// never decreases within a subject.
//
// Fails with ErrConflict, ErrFull, ErrTooLarge or ErrInvalid when nothing was written, with ErrUnknown when nobody can tell. When the
// same event was already there with the same content, that is success. Several goroutines may append at once.
func (j *Journal) Append(ctx context.Context, subject string, after Tail, e Entry) (Tail, error) {
	took := stopwatch()
	tail, err := j.append(ctx, subject, after, e)
	j.figures.appended(err, took())
	return tail, err
}

func (j *Journal) append(ctx context.Context, subject string, after Tail, e Entry) (Tail, error) {
	stream, err := streamOf(subject)
	if err != nil {
		return Tail{}, err
	}
	if e, err = following(subject, after, e); err != nil {
		return Tail{}, fmt.Errorf("append to %s after %d: %w", subject, after.Sequence, err)
	}
	m := &nats.Msg{Subject: subject, Header: header(e), Data: e.Data}
	// The id is bound to its subject, or the broker would swallow an event whose id another subject has used.
	m.Header[jetstream.MsgIDHeader] = []string{subject + ":" + escape(e.ID)}
	m.Header[jetstream.ExpectedLastSubjSeqHeader] = []string{strconv.FormatUint(after.Sequence, 10)}
	if j.local != nil {
		m.Header[headerSynced] = []string{strconv.FormatUint(j.local.durability.durable(stream), 10)}
	}
	if m.Size() > MaxEntry {
		return Tail{}, fmt.Errorf("append to %s: %w: %d bytes, at most %d", subject, ErrTooLarge, m.Size(), MaxEntry)
	}
	if err := cmp.Or(ctx.Err(), j.room()); err != nil {
		return Tail{}, fmt.Errorf("append to %s: %w", subject, err)
	}
	if e.Sequence, err = j.publish(ctx, stream, m, e); err != nil {
		return Tail{}, fmt.Errorf("append to %s after %d: %w", subject, after.Sequence, err)
	}
	return e.Tail(), nil
}

// following is e made ready to follow the given event.
func following(subject string, after Tail, e Entry) (Entry, error) {
	if e.ID == "" || e.Type == "" {
		return e, fmt.Errorf("%w: it has no id or no type", ErrInvalid)
	}
	var err error
	if e.Time, err = storable("time", e.Time); err != nil {
		return e, err
	}
	if e.Recorded, err = storable("time of recording", e.Recorded.UTC()); err != nil {
		return e, err
	}
	if e.Recorded.Before(after.Recorded) {
		e.Recorded = after.Recorded.UTC()
	}
	e.Subject, e.Sequence, e.Prev = subject, 0, after.Digest
	e.Digest = e.digest()
	return e, nil
}

// publish sends an event and waits until it is durable.
func (j *Journal) publish(ctx context.Context, stream Stream, m *nats.Msg, e Entry) (uint64, error) {
	ack, err := j.request(ctx, m)
	if err != nil {
		return 0, err
	}
	if ack.Duplicate {
		if err := j.repeated(ctx, stream, ack.Sequence, e); err != nil {
			return 0, err
		}
	}
	if err := j.settle(ctx, stream, ack.Sequence); err != nil {
		return 0, err
	}
	return ack.Sequence, nil
}

// settle returns when all events up to the given one are durable. The broker in this process hands out what it has not synced, so nothing
// that it says of an event may be believed, or passed on, before this. A broker elsewhere syncs before it answers.
func (j *Journal) settle(ctx context.Context, stream Stream, sequence uint64) error {
	if j.local == nil {
		return nil
	}
	return j.local.durability.settle(ctx, stream, sequence)
}

// request sends one message to its stream and waits for the answer.
func (j *Journal) request(ctx context.Context, m *nats.Msg) (jetstream.PubAck, error) {
	ctx, cancel := context.WithTimeout(ctx, appendTimeout)
	defer cancel()
	if err := j.connected(ctx); err != nil {
		return jetstream.PubAck{}, fmt.Errorf("%w: %w", ErrUnknown, err)
	}
	ctx, release := j.link.bound(ctx)
	defer release()
	answer, err := j.nc.RequestMsgWithContext(ctx, m)
	if err != nil {
		return jetstream.PubAck{}, unanswered(ctx, err)
	}
	return acknowledged(answer)
}

// room fails when the log's disk is ours and near its end, with ErrFull, or when the broker in this process is down.
func (j *Journal) room() error {
	if j.local == nil {
		return nil
	}
	if err := j.local.health.get(); err != nil {
		return err
	}
	return room(j.local.dir, j.local.spare)
}

// acknowledged reads the broker's answer to a write.
func acknowledged(answer *nats.Msg) (jetstream.PubAck, error) {
	var reply struct {
		Error *jetstream.APIError `json:"error"`
		jetstream.PubAck
	}
	if err := json.Unmarshal(answer.Data, &reply); err != nil {
		return jetstream.PubAck{}, fmt.Errorf("%w: answer %q cannot be read: %w", ErrUnknown, answer.Data, err)
	}
	if reply.Error != nil {
		return jetstream.PubAck{}, refused(reply.Error)
	}
	if reply.Sequence == 0 {
		return jetstream.PubAck{}, fmt.Errorf("%w: answer %q holds no sequence", ErrUnknown, answer.Data)
	}
	return reply.PubAck, nil
}

// repeated deals with an acknowledgement that says "had that id already": only the event itself can tell whether it is ours.
func (j *Journal) repeated(ctx context.Context, stream Stream, sequence uint64, e Entry) error {
	stored, err := j.at(ctx, stream, sequence)
	if err != nil {
		return fmt.Errorf("%w: read event %d back: %w", ErrUnknown, sequence, err)
	}
	if stored.Subject != e.Subject || stored.Digest != e.Digest {
		return fmt.Errorf("%w: id %s is already event %d with other content", ErrConflict, e.ID, sequence)
	}
	return nil
}

// Codes of the broker that mean something to a writer; all others leave the outcome open.
const (
	codeWrongLast         = 10071 // wrong last sequence: 41
	codeWrongLastConstant = 10164 // wrong last sequence, from a cluster
	codeNoResources       = 10023
	codeStorageExceeded   = 10047
	codeMaxStreamBytes    = 10122
)

// refused turns an error of the broker's into one of ours.
func refused(e *jetstream.APIError) error {
	switch e.ErrorCode {
	case codeWrongLast, codeWrongLastConstant:
		return fmt.Errorf("%w: %w", ErrConflict, e)
	case codeNoResources, codeStorageExceeded, codeMaxStreamBytes:
		return fmt.Errorf("%w: %w", ErrFull, e)
	}
	return fmt.Errorf("%w: %w", ErrUnknown, e)
}

// unanswered sorts the errors of a request that got no answer from the stream. Whatever was sent may have been stored.
func unanswered(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		err = context.Cause(ctx)
	}
	if errors.Is(err, nats.ErrConnectionClosed) {
		return fmt.Errorf("%w: %w: %w", ErrUnknown, ErrClosed, err)
	}
	return fmt.Errorf("%w: %w", ErrUnknown, err)
}
