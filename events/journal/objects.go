package journal

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Objects are what is too large for an event: photos, large roof files. An object is named by its digest and written once. With a log
// on our own disk it is a file; see objectDir. Elsewhere it lies in a stream of its own as one message a chunk, each with the expected
// sequence of the one before, so that a write that was cut off is taken up where it ended, two writers of the same object do each other
// no harm, and nothing that was read is ever replaced.

const (
	objectStream = "OBJECT"
	objectFamily = "object"
	chunkSize    = 512 << 10
	headerChunk  = "bydark-chunk"  // number of the chunk, from 0
	headerSize   = "bydark-object" // bytes of the whole object
)

// MaxObject is the most that one object may hold, in bytes.
const MaxObject = 64 << 20

// Object is what is known of an object without reading it.
type Object struct {
	Digest Digest
	Size   int       // bytes of the whole
	Stored time.Time // when its newest part was stored, by the broker's clock
	Whole  bool      // all parts are there
}

// objectConfig is how the stream of objects must be set up. Unlike events, objects can be taken away.
func objectConfig(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: objectStream, Subjects: []string{objectFamily + ".*"}, Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy,
		Discard: jetstream.DiscardNew, AllowDirect: true, Replicas: replicas,
	}
}

func objectSubject(d Digest) string { return objectFamily + "." + d.String() }

// PutObject stores an object and returns its digest when it is durable. Putting what is there already changes nothing. Fails with
// ErrTooLarge, ErrFull, or ErrUnknown; after the last, put it again.
func (j *Journal) PutObject(ctx context.Context, data []byte) (Digest, error) {
	d := Digest(sha256.Sum256(data))
	if len(data) > MaxObject {
		return d, fmt.Errorf("object of %d bytes: %w: at most %d", len(data), ErrTooLarge, MaxObject)
	}
	if j.local != nil {
		if err := cmp.Or(ctx.Err(), j.room()); err != nil {
			return d, fmt.Errorf("put object %s: %w", d, err)
		}
		err := j.local.objects().put(d, data)
		if errors.Is(err, syscall.ENOSPC) {
			return d, fmt.Errorf("put object %s: %w: %w", d, ErrFull, err)
		}
		if err != nil {
			return d, fmt.Errorf("put object %s: %w: %w", d, ErrUnknown, err)
		}
		return d, nil
	}
	for {
		err := j.putObject(ctx, d, data)
		if err == nil {
			return d, nil
		}
		if !errors.Is(err, ErrConflict) { // another writes the same: see how far it came
			return d, fmt.Errorf("put object %s: %w", d, err)
		}
		if err := pause(ctx, lagPause); err != nil {
			return d, fmt.Errorf("put object %s: %w", d, err)
		}
	}
}

func (j *Journal) putObject(ctx context.Context, d Digest, data []byte) error {
	have, err := j.parts(ctx, d)
	if err != nil {
		return err
	}
	if string(data[:min(len(have.data), len(data))]) != string(have.data) {
		return &Damage{Stream: objectStream, Last: have.last, Reason: fmt.Sprintf("what is stored of object %s is not what it was", d)}
	}
	last, rest := have.last, data[len(have.data):]
	for n := have.chunks; n == 0 || len(rest) > 0; n++ {
		chunk := rest[:min(len(rest), chunkSize)]
		m := &nats.Msg{Subject: objectSubject(d), Data: chunk, Header: nats.Header{
			headerChunk:                         {strconv.Itoa(n)},
			headerSize:                          {strconv.Itoa(len(data))},
			jetstream.ExpectedLastSubjSeqHeader: {strconv.FormatUint(last, 10)},
		}}
		ack, err := j.request(ctx, m)
		if err != nil {
			return err
		}
		last, rest = ack.Sequence, rest[len(chunk):]
	}
	return nil
}

// Object reads an object whole and compares it with its digest. Fails with ErrNotFound when it is not there or not all of it, with
// ErrDamaged when it is another.
func (j *Journal) Object(ctx context.Context, d Digest) ([]byte, error) {
	if j.local != nil {
		data, err := j.local.objects().read(d)
		if err != nil {
			return nil, fmt.Errorf("object %s: %w", d, err)
		}
		return data, nil
	}
	have, err := j.parts(ctx, d)
	switch {
	case err != nil:
		return nil, fmt.Errorf("object %s: %w", d, err)
	case have.chunks == 0 || len(have.data) < have.size:
		return nil, fmt.Errorf("object %s: %w: %d of %d bytes are there", d, ErrNotFound, len(have.data), have.size)
	case Digest(sha256.Sum256(have.data)) != d:
		return nil, fmt.Errorf("object %s: %w", d, &Damage{Stream: objectStream, Last: have.last, Reason: "its content has another digest"})
	}
	return have.data, nil
}

// parts is what is stored of an object.
type parts struct {
	data   []byte
	chunks int
	size   int // of the whole
	last   uint64
}

func (j *Journal) parts(ctx context.Context, d Digest) (parts, error) {
	var p parts
	upto, err := j.lastOf(ctx, objectStream, objectSubject(d))
	if err != nil {
		return p, err
	}
	for {
		request := directRequest{Seq: p.last + 1, NextFor: objectSubject(d), Batch: page}
		pending, err := j.messages(ctx, objectStream, request, func(sequence uint64, _ string, m *nats.Msg) error {
			size, err := strconv.Atoi(m.Header.Get(headerSize))
			if err != nil || m.Header.Get(headerChunk) != strconv.Itoa(p.chunks) || size < 0 || size > MaxObject {
				return &Damage{Stream: objectStream, Last: p.last, Reason: fmt.Sprintf("chunk %d of object %s is missing", p.chunks, d)}
			}
			p.data, p.size, p.last = append(p.data, m.Data...), size, sequence
			p.chunks++
			return nil
		})
		if err != nil {
			return p, err
		}
		if pending == 0 && p.last >= upto {
			return p, nil
		}
		if pending == 0 { // a replica that lags has answered
			if err := pause(ctx, lagPause); err != nil {
				return p, err
			}
		}
	}
}

// DropObject takes an object away, whole or not. Only what no event names may be dropped.
func (j *Journal) DropObject(ctx context.Context, d Digest) error {
	if j.local != nil {
		if err := j.local.objects().drop(d); err != nil {
			return fmt.Errorf("drop object %s: %w", d, err)
		}
		return nil
	}
	stream, err := j.js.Stream(ctx, objectStream)
	if err == nil {
		err = stream.Purge(ctx, jetstream.WithPurgeSubject(objectSubject(d)))
	}
	if err != nil {
		return fmt.Errorf("drop object %s: %w", d, err)
	}
	return nil
}

// Objects lists all objects, in the order of their digests. Their content is not read.
func (j *Journal) Objects(ctx context.Context) (objects []Object, err error) {
	if j.local != nil {
		objects, err = j.local.objects().list()
	} else {
		objects, err = j.objects(ctx)
	}
	if err != nil {
		return nil, fmt.Errorf("list objects: %w", err)
	}
	return objects, nil
}

func (j *Journal) objects(ctx context.Context) ([]Object, error) {
	ctx, release := j.link.bound(ctx)
	defer release()
	stream, err := j.js.Stream(ctx, objectStream)
	if err != nil {
		return nil, err
	}
	name := rand.Text()
	defer discard(ctx, stream, name)
	consumer, err := stream.CreateConsumer(ctx, jetstream.ConsumerConfig{
		Name: name, AckPolicy: jetstream.AckNonePolicy, HeadersOnly: true, MemoryStorage: true, Replicas: 1, InactiveThreshold: time.Minute,
	})
	if err != nil {
		return nil, err
	}
	objects, err := listObjects(ctx, consumer)
	slices.SortFunc(objects, func(a, b Object) int { return bytes.Compare(a.Digest[:], b.Digest[:]) })
	return objects, err
}

// listObjects reads the heads of all chunks.
func listObjects(ctx context.Context, consumer jetstream.Consumer) ([]Object, error) {
	if consumer.CachedInfo().NumPending == 0 {
		return nil, nil
	}
	messages, err := consumer.Messages(jetstream.PullMaxMessages(page), jetstream.PullExpiry(5*time.Second))
	if err != nil {
		return nil, err
	}
	defer messages.Stop()
	var objects []Object
	place := map[Digest]int{}
	stored := map[Digest]int{}
	for {
		m, err := messages.Next(jetstream.NextContext(ctx))
		if err != nil {
			return nil, err
		}
		meta, err := m.Metadata()
		if err != nil {
			return nil, err
		}
		d, err := ParseDigest(strings.TrimPrefix(m.Subject(), objectFamily+"."))
		if err != nil {
			return nil, err
		}
		size, err := strconv.Atoi(m.Headers().Get(headerSize))
		if err != nil {
			return nil, fmt.Errorf("size of object %s: %w", d, err)
		}
		length, err := strconv.Atoi(m.Headers().Get("Nats-Msg-Size"))
		if err != nil {
			return nil, fmt.Errorf("size of a part of object %s: %w", d, err)
		}
		at, known := place[d]
		if !known {
			at = len(objects)
			place[d], objects = at, append(objects, Object{})
		}
		stored[d] += length
		objects[at] = Object{Digest: d, Size: size, Stored: meta.Timestamp.UTC(), Whole: stored[d] == size}
		if meta.NumPending == 0 {
			return objects, nil
		}
	}
}
