package journal

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// Reader hands out the reports of one company one after the other, each again until it is acknowledged. Where it stands is kept by the
// broker under the reader's name, so that it goes on there after a restart, in whichever process: at least once, in order, one at a
// time however many processes read under the name. It is for reactions only; a projection keeps its own position.
type Reader struct {
	j        *Journal
	consumer jetstream.Consumer
	messages jetstream.MessagesContext
	wait     time.Duration
}

// Reading says what a reader reads.
type Reading struct {
	Name    string // 1 to 64 of A-Z a-z 0-9 _ -
	Company string
	// From is where a name that the broker does not know yet begins: after that event. If it is a place in another log, from which this
	// one was restored, it begins at the end: what came before was told by the other.
	From Position
	// Wait is after how long an event that nobody acknowledges, works on or returns is handed out again: what a process that died costs.
	Wait time.Duration
}

// Delivery is one event as it was handed out.
type Delivery struct {
	Entry Entry
	// Unreadable says why the message is no event of ours; empty when it is. Then Entry has only the sequence and the subject.
	Unreadable string
	message    jetstream.Msg
}

// Reader opens a reader. It is to be closed.
func (j *Journal) Reader(ctx context.Context, r Reading) (*Reader, error) {
	if !isID(r.Name) || !isID(r.Company) {
		return nil, fmt.Errorf("reader %q of %q: %w: a name is 1 to 64 of A-Z a-z 0-9 _ -", r.Name, r.Company, ErrInvalid)
	}
	ctx, release := j.link.bound(ctx)
	defer release()
	consumer, err := j.js.Consumer(ctx, string(Roof), r.Name)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		consumer, err = j.js.CreateConsumer(ctx, string(Roof), j.readerConfig(r))
	}
	if errors.Is(err, jetstream.ErrConsumerExists) { // another process made it meanwhile
		consumer, err = j.js.Consumer(ctx, string(Roof), r.Name)
	}
	if err != nil {
		return nil, fmt.Errorf("reader %s: %w", r.Name, err)
	}
	// One message at a time: what waits in a client's buffer would be handed out again while it waits.
	messages, err := consumer.Messages(jetstream.PullMaxMessages(1), jetstream.PullExpiry(5*time.Second))
	if err != nil {
		return nil, fmt.Errorf("reader %s: %w", r.Name, err)
	}
	return &Reader{j: j, consumer: consumer, messages: messages, wait: consumer.CachedInfo().Config.AckWait}, nil
}

func (j *Journal) readerConfig(r Reading) jetstream.ConsumerConfig {
	config := jetstream.ConsumerConfig{
		Durable: r.Name, FilterSubject: Roof.family() + "." + r.Company + ".*", AckPolicy: jetstream.AckExplicitPolicy, AckWait: r.Wait,
		MaxAckPending: 1, MaxDeliver: -1, DeliverPolicy: jetstream.DeliverNewPolicy,
	}
	if r.From.Created.Equal(j.created[Roof]) {
		config.DeliverPolicy, config.OptStartSeq = jetstream.DeliverByStartSequencePolicy, r.From.Sequence+1
	}
	return config
}

// Next waits for the next event. Fails with ctx's error, or when the broker is gone: then open another reader.
func (r *Reader) Next(ctx context.Context) (Delivery, error) {
	ctx, release := r.j.link.bound(ctx)
	defer release()
	m, err := r.messages.Next(jetstream.NextContext(ctx))
	if err != nil {
		return Delivery{}, fmt.Errorf("next event: %w", err)
	}
	meta, err := m.Metadata()
	if err != nil {
		return Delivery{}, fmt.Errorf("next event: %w", err)
	}
	// The broker in this process hands out what may not be durable yet; nobody outside is told of that.
	if err := r.j.settle(ctx, Roof, meta.Sequence.Stream); err != nil {
		return Delivery{}, fmt.Errorf("next event: %w", err)
	}
	d := Delivery{message: m}
	if d.Entry, err = entry(m.Subject(), meta.Sequence.Stream, m.Headers(), m.Data()); err != nil {
		d.Unreadable = err.Error()
		d.Entry = Entry{Subject: m.Subject(), Sequence: meta.Sequence.Stream}
	}
	return d, nil
}

// Wait is the reader's Reading.Wait; Working is to be called oftener.
func (r *Reader) Wait() time.Duration { return r.wait }

// Close ends the reading. What was handed out and not acknowledged is handed out again, here or elsewhere.
func (r *Reader) Close() { r.messages.Stop() }

// Done acknowledges: the event is never handed out again. It returns when the broker knows that.
func (d Delivery) Done(ctx context.Context) error { return d.message.DoubleAck(ctx) }

// Working tells that the event is still being worked on.
func (d Delivery) Working() error { return d.message.InProgress() }

// Again gives the event back, to be handed out again after a pause.
func (d Delivery) Again(after time.Duration) error { return d.message.NakWithDelay(after) }

// ForgetReader takes a reader's place off the broker; it need not be there.
func (j *Journal) ForgetReader(ctx context.Context, name string) error {
	if err := j.js.DeleteConsumer(ctx, string(Roof), name); err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
		return fmt.Errorf("forget reader %s: %w", name, err)
	}
	return nil
}

// Backlog is how many events wait for the readers whose names begin so, all readers together, and how many are set aside for any.
func (j *Journal) Backlog(ctx context.Context, prefix string) (waiting, aside uint64, err error) {
	ctx, release := j.link.bound(ctx)
	defer release()
	failed := func(err error) (uint64, uint64, error) {
		return 0, 0, fmt.Errorf("how much waits for %s*: %w", prefix, err)
	}
	stream, err := j.js.Stream(ctx, string(Roof))
	if err != nil {
		return failed(err)
	}
	all := stream.ListConsumers(ctx)
	for c := range all.Info() {
		if strings.HasPrefix(c.Name, prefix) {
			waiting += c.NumPending + uint64(c.NumAckPending) //nolint:gosec // a count
		}
	}
	if err := all.Err(); err != nil {
		return failed(err)
	}
	if stream, err = j.js.Stream(ctx, asideStream); err != nil {
		return failed(err)
	}
	return waiting, stream.CachedInfo().State.Msgs, nil
}

// Event reads one event by its sequence. Fails with ErrNotFound, or with ErrDamaged when what stands there is no event of ours.
func (j *Journal) Event(ctx context.Context, stream Stream, sequence uint64) (Entry, error) {
	if err := stream.check(); err != nil {
		return Entry{}, err
	}
	e, err := j.at(ctx, stream, sequence)
	if errors.Is(err, ErrOtherLog) {
		err = fmt.Errorf("%w: %w", ErrNotFound, err)
	}
	if err != nil {
		return Entry{}, fmt.Errorf("event %d of %s: %w", sequence, stream, err)
	}
	return e, nil
}
