package journal

import (
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
)

// Headers of a stored event: the attributes of CloudEvents 1.0 in the NATS binding's binary form, four of them extensions of ours.
const (
	headerSpec     = "ce-specversion"
	headerID       = "ce-id"
	headerType     = "ce-type"
	headerSource   = "ce-source"
	headerAbout    = "ce-subject"
	headerTime     = "ce-time"
	headerBy       = "ce-by"
	headerRecorded = "ce-recorded"
	headerDigest   = "ce-digest"
	headerPrev     = "ce-prev"
)

// headerSynced is beside the event's own attributes: the last sequence of the stream that was durable when the event was sent. It is no
// part of the event, and read only when a store is looked through after a crash. An event in a block proves by it that those before it had
// been synced, so that a fault among them is damage and not the end of what was written.
const headerSynced = "bydark-synced"

// header writes the attributes of e. Empty ones are left out.
func header(e Entry) nats.Header {
	h := make(nats.Header, 16) // the broker's own follow
	values := make([]string, 0, 10)
	set := func(name, value string) {
		if value != "" {
			values = append(values, value)
			h[name] = values[len(values)-1 : len(values) : len(values)]
		}
	}
	set(headerSpec, "1.0")
	set(headerID, escape(e.ID))
	set(headerType, escape(e.Type))
	set(headerTime, stamp(e.Time))
	set(headerRecorded, stamp(e.Recorded))
	set(headerDigest, e.Digest.String())
	set(headerSource, escape(e.Source))
	set(headerAbout, escape(e.About))
	set(headerBy, escape(e.By))
	if !e.Prev.IsZero() {
		set(headerPrev, e.Prev.String())
	}
	return h
}

// entry reads a stored message back and checks that its digest is that of its content. Every failure means that what is stored is not
// what this package wrote.
func entry(subject string, sequence uint64, h nats.Header, data []byte) (Entry, error) {
	r := headerReader{h: h}
	e := Entry{
		ID: r.text(headerID), Type: r.text(headerType), Source: r.text(headerSource), About: r.text(headerAbout), By: r.text(headerBy),
		Time: r.time(headerTime), Recorded: r.time(headerRecorded),
		Data: data, Subject: subject, Sequence: sequence,
		Digest: r.digest(headerDigest), Prev: r.digest(headerPrev),
	}
	switch {
	case r.err != nil:
		return Entry{}, fmt.Errorf("event %d: %w", sequence, r.err)
	case e.digest() != e.Digest:
		return Entry{}, fmt.Errorf("event %d of %s: content does not have the digest it was stored with", sequence, subject)
	}
	return e, nil
}

// headerReader reads headers until one is wrong and keeps that fault.
type headerReader struct {
	h   nats.Header
	err error
}

func (r *headerReader) one(name string) string {
	values := r.h[name]
	if len(values) > 1 && r.err == nil {
		r.err = fmt.Errorf("header %s is there %d times", name, len(values))
	}
	if len(values) == 0 {
		return ""
	}
	return values[0]
}

func (r *headerReader) text(name string) string {
	s, err := url.PathUnescape(r.one(name))
	if err != nil && r.err == nil {
		r.err = fmt.Errorf("header %s: %w", name, err)
	}
	return s
}

func (r *headerReader) time(name string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, r.one(name))
	if err != nil && r.err == nil {
		r.err = fmt.Errorf("header %s: %w", name, err)
	}
	return t
}

func (r *headerReader) digest(name string) Digest {
	s := r.one(name)
	if s == "" && name == headerPrev {
		return Digest{}
	}
	d, err := ParseDigest(s)
	if err != nil && r.err == nil {
		r.err = fmt.Errorf("header %s: %w", name, err)
	}
	return d
}

// escape writes what a header cannot carry, and what CloudEvents asks for (HTTP binding 1.0.2, section 3.1.3.2), as %XX: all outside
// printable ASCII, space, double quote, percent.
func escape(s string) string {
	const hex = "0123456789ABCDEF"
	plain := true
	for i := range len(s) {
		plain = plain && isPlain(s[i])
	}
	if plain {
		return s
	}
	var b strings.Builder
	for i := range len(s) {
		if c := s[i]; isPlain(c) {
			b.WriteByte(c)
		} else {
			b.WriteByte('%')
			b.WriteByte(hex[c>>4])
			b.WriteByte(hex[c&15])
		}
	}
	return b.String()
}

func isPlain(c byte) bool { return c > ' ' && c < 0x7f && c != '"' && c != '%' }
