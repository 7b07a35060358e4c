// Package journal is the log: the only truth of the program, kept in JetStream streams by a broker in this process or by one reached
// by URL.
//
// An event is one message, written with the sequence that the subject's last event is expected to have, synced before it is
// acknowledged, and tied to its predecessor by a digest. Nothing is ever changed or taken out. What an event means is the business of
// package events; here its data are bytes.
//
// A write has three outcomes, and callers must live with the third: it is in the log, it is not (ErrConflict and the refusals), or
// nobody knows (ErrUnknown). After a conflict as after no answer the caller loads the subject again, looks for its own id, and only
// then decides anew.
package journal

import (
	"encoding/hex"
	"fmt"
	"time"
)

// Entry is one event as the log holds it: opaque data and the attributes of CloudEvents 1.0 that go into message headers. The zero
// value is not an event. An Entry that came out of the journal is shared with nobody, its Data may be kept.
type Entry struct {
	ID     string    // ce-id: the report's own id, unique in a subject for ever
	Type   string    // ce-type: bydark.<family>.<event>.v<N>
	Source string    // ce-source: who made the report, a URI reference; may be empty
	About  string    // ce-subject: what it is about; may be empty
	Time   time.Time // ce-time: when it happened, the reporter's word, with the reporter's offset
	Data   []byte    // the event, JSON

	Recorded time.Time // when we took it, by our clock, in UTC; never decreasing within a subject
	By       string    // the person who reported it

	// Filled by the journal; ignored in what is given to Append.

	Subject  string
	Sequence uint64 // place in the stream, counted from 1 without gaps
	Digest   Digest // of everything above but the sequence, and of Prev
	Prev     Digest // digest of the subject's previous event, zero for the first
}

// Digest is a SHA-256.
type Digest [32]byte

// String writes the digest in hexadecimal, 64 characters.
func (d Digest) String() string { return hex.EncodeToString(d[:]) }

// IsZero says whether the digest is absent: the one before a subject's first event.
func (d Digest) IsZero() bool { return d == Digest{} }

// ParseDigest reads the 64 hexadecimal characters that String writes.
func ParseDigest(s string) (Digest, error) {
	var d Digest
	if len(s) != 2*len(d) {
		return Digest{}, fmt.Errorf("digest %q has %d characters, want %d", s, len(s), 2*len(d))
	}
	if _, err := hex.Decode(d[:], []byte(s)); err != nil {
		return Digest{}, fmt.Errorf("digest %q: %w", s, err)
	}
	return d, nil
}

// Tail is the last event of a subject, as far as its holder knows. The zero value means that the subject has none.
type Tail struct {
	Sequence uint64
	Digest   Digest
	Recorded time.Time
}

// Tail is e as the last event of its subject.
func (e Entry) Tail() Tail { return Tail{Sequence: e.Sequence, Digest: e.Digest, Recorded: e.Recorded} }

// Position is a reader's place in a stream: the last event it has dealt with. The zero value is the place before the first event of
// whatever stream it is used with. Created and Digest are there to notice that the log under a checkpoint is another one.
type Position struct {
	Created  time.Time // when the stream was made
	Sequence uint64
	Digest   Digest // of the event at Sequence
}
