package record

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"github.com/klauspost/compress/s2"

	"bydark/events/journal"
	"bydark/projections"
)

// A sheet is a run of a job's events as it stands in a row: one after the other, compressed together. How events are divided into sheets
// goes by how they came, and means nothing.

// sheetBytes is the size of events at which a sheet is full. One event may be larger.
const sheetBytes = 64 << 10

// sheetOf writes events, in order, until the sheet is full, and says how many it took: one at least.
func sheetOf(entries []*journal.Entry, scratch []byte) (sheet, used []byte, n int) {
	b := scratch[:0]
	for n < len(entries) && (n == 0 || len(b)+len(entries[n].Data) < sheetBytes) {
		b = appendEntry(b, entries[n])
		n++
	}
	return s2.Encode(nil, b), b, n
}

func appendEntry(b []byte, e *journal.Entry) []byte {
	b = binary.AppendUvarint(b, e.Sequence)
	for _, text := range [...]string{e.ID, e.Type, e.Source, e.About, e.By} {
		b = append(binary.AppendUvarint(b, uint64(len(text))), text...)
	}
	b = appendTime(appendTime(b, e.Time), e.Recorded)
	b = append(append(b, e.Digest[:]...), e.Prev[:]...)
	return append(binary.AppendUvarint(b, uint64(len(e.Data))), e.Data...)
}

// appendTime keeps the offset too, which is part of what the reporter said.
func appendTime(b []byte, t time.Time) []byte {
	_, offset := t.Zone()
	b = binary.AppendVarint(b, t.Unix())
	b = binary.AppendUvarint(b, uint64(t.Nanosecond()))
	return binary.AppendVarint(b, int64(offset))
}

var errCut = errors.New("a sheet ends inside an event")

// entriesOf reads a sheet back. One that cannot be read was changed behind our back.
func entriesOf(sheet []byte, subject string) ([]journal.Entry, error) {
	b, err := s2.Decode(nil, sheet)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", projections.ErrDamaged, err)
	}
	var entries []journal.Entry
	for r := (sheetReader{b: b}); len(r.b) > 0; {
		e := journal.Entry{
			Subject: subject, Sequence: r.uvarint(), ID: r.text(), Type: r.text(), Source: r.text(), About: r.text(), By: r.text(),
			Time: r.time(), Recorded: r.time(), Digest: journal.Digest(r.take(len(journal.Digest{}))), Prev: journal.Digest(r.take(len(journal.Digest{}))),
			Data: r.bytes(),
		}
		if r.cut {
			return nil, fmt.Errorf("%w: %w", projections.ErrDamaged, errCut)
		}
		entries = append(entries, e)
	}
	return entries, nil
}

// sheetReader reads what appendEntry has written, until something is missing.
type sheetReader struct {
	b   []byte
	cut bool
}

// take gives so many bytes, zeros when they are not there.
func (r *sheetReader) take(n int) []byte {
	if n > len(r.b) || n < 0 {
		r.cut, r.b = true, nil
		return make([]byte, min(max(n, 0), len(journal.Digest{})))
	}
	taken := r.b[:n:n]
	r.b = r.b[n:]
	return taken
}

func (r *sheetReader) uvarint() uint64 {
	v, n := binary.Uvarint(r.b)
	r.take(max(n, 0))
	r.cut = r.cut || n <= 0
	return v
}

func (r *sheetReader) varint() int64 {
	v, n := binary.Varint(r.b)
	r.take(max(n, 0))
	r.cut = r.cut || n <= 0
	return v
}

func (r *sheetReader) bytes() []byte { return r.take(int(min(r.uvarint(), 1<<31))) }
func (r *sheetReader) text() string  { return string(r.bytes()) }

func (r *sheetReader) time() time.Time {
	t := time.Unix(r.varint(), int64(r.uvarint()))
	if offset := int(r.varint()); offset != 0 {
		return t.In(time.FixedZone("", offset))
	}
	return t.UTC()
}
