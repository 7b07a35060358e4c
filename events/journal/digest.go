package journal

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"time"
)

// canon names the canonical form below. A new form gets a new name and the old one is kept for old events.
const canon = "bydark.event.1"

// digest is SHA-256 over the canonical form of an event: each part in turn as its length in bytes (8 bytes, big endian) and then the
// bytes: the form's name, subject, ce-id, ce-type, ce-source, ce-subject, ce-time, ce-by, ce-recorded, data, and the predecessor's
// digest (32 bytes, zero for none). Lengths come first so that no byte can move from one part into its neighbour unnoticed. The
// sequence is left out: it is given by the broker after the digest was made, and the chain fixes the order anyway.
func (e Entry) digest() Digest {
	b := make([]byte, 0, 1024+len(e.Data))
	for _, part := range []string{canon, e.Subject, e.ID, e.Type, e.Source, e.About, stamp(e.Time), e.By, stamp(e.Recorded)} {
		b = append(binary.BigEndian.AppendUint64(b, uint64(len(part))), part...)
	}
	b = append(binary.BigEndian.AppendUint64(b, uint64(len(e.Data))), e.Data...)
	b = append(binary.BigEndian.AppendUint64(b, uint64(len(e.Prev))), e.Prev[:]...)
	return sha256.Sum256(b)
}

// stamp writes a time as the headers carry it: RFC 3339 with as many digits of the second as it has, in its own offset.
func stamp(t time.Time) string { return t.Format(time.RFC3339Nano) }

// storable is t in a form that stamp writes and time.Parse reads back unchanged.
func storable(what string, t time.Time) (time.Time, error) {
	if y := t.Year(); y < 1 || y > 9999 || t.IsZero() {
		return t, fmt.Errorf("%w: %s %v is outside the years 1 to 9999", ErrInvalid, what, t)
	}
	if _, offset := t.Zone(); offset%60 != 0 {
		t = t.UTC() // RFC 3339 has no seconds in an offset; local mean times of old zones do
	}
	return t.Round(0), nil // without the monotonic reading
}
