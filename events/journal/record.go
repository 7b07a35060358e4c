package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"strconv"

	"github.com/minio/highwayhash"
)

// A block file of the broker (2.15.2) is a row of records, little endian:
//
//	total length 4 (top bit: has headers), sequence 8, time 8, subject length 2, subject, [header length 4, headers], data, checksum 8
//
// The checksum is a HighwayHash of sequence, time, subject, headers and data under the key SHA-256("STREAM-BLOCK"). It covers none of
// the lengths, so what they say is tested otherwise.
const (
	recordHead    = 22
	checksumSize  = 8
	recordMin     = recordHead + checksumSize
	recordMax     = 32 << 20
	hasHeaders    = 1 << 31
	markedDeleted = 3 << 62 // a tombstone, or a record that was erased
)

// record is one event as it lies in a block.
type record struct {
	sequence uint64
	size     int
	synced   uint64 // last sequence that was durable when this one was sent
}

// blockReader reads the records of one block.
type blockReader struct{ checksum hash.Hash64 }

func newBlockReader(stream string, block int) (blockReader, error) {
	key := sha256.Sum256(fmt.Appendf(nil, "%s-%d", stream, block))
	h, err := highwayhash.NewDigest64(key[:])
	return blockReader{checksum: h}, err
}

// at reads the record that begins at the given place, and says in words why there is none. Deleted records are faults too: a log has
// none.
func (r blockReader) at(b []byte, at int) (record, string) {
	if len(b)-at < recordMin {
		return record{}, "it ends inside a record"
	}
	length := binary.LittleEndian.Uint32(b[at:])
	size := int(length &^ hasHeaders)
	sequence := binary.LittleEndian.Uint64(b[at+4:])
	subject := int(binary.LittleEndian.Uint16(b[at+20:]))
	switch {
	case size < recordMin || size > recordMax:
		return record{}, "the record's length cannot be"
	case size > len(b)-at:
		return record{}, "it ends inside a record"
	case length&hasHeaders == 0:
		return record{}, "the record has no headers"
	}
	body := b[at+recordHead : at+size-checksumSize]
	if subject+4 > len(body) {
		return record{}, "the subject's length cannot be"
	}
	headers := int(binary.LittleEndian.Uint32(body[subject:]))
	content := body[subject+4:]
	if headers > len(content) || !bytes.HasPrefix(content, []byte("NATS/1.0\r\n")) || !bytes.HasSuffix(content[:headers], []byte("\r\n\r\n")) {
		return record{}, "the headers' length cannot be"
	}
	r.checksum.Reset()
	for _, part := range [][]byte{b[at+4 : at+20], body[:subject], content} {
		_, _ = r.checksum.Write(part) // a hash never fails
	}
	if !bytes.Equal(r.checksum.Sum(nil), b[at+size-checksumSize:at+size]) {
		return record{}, "the record's checksum is wrong"
	}
	if sequence&markedDeleted != 0 {
		return record{}, "the record is marked as deleted"
	}
	return record{sequence: sequence, size: size, synced: syncedUpTo(content[:headers])}, ""
}

// upTo reads records from the start of a block, the first of which must have the sequence after last. It returns the last sequence,
// where reading ended, and why it ended before the end of the block.
func (r blockReader) upTo(b []byte, last uint64) (uint64, int, string) {
	for at := 0; at < len(b); {
		rec, fault := r.at(b, at)
		if fault == "" && rec.sequence != last+1 {
			fault = fmt.Sprintf("event %d is followed by event %d", last, rec.sequence)
		}
		if fault != "" {
			return last, at, fault
		}
		last = rec.sequence
		at += rec.size
	}
	return last, len(b), ""
}

// proves says whether what lies behind a place that cannot be read shows that the fault is inside the log, and not writes that were cut
// off at its end. A whole record with a sequence above last does that if its event was sent when the one after last was durable already,
// or, with any, if all records were synced anyway.
func (r blockReader) proves(b []byte, at int, last uint64, any bool) bool {
	for ; at+recordMin <= len(b); at++ {
		if length := binary.LittleEndian.Uint32(b[at:]); length&hasHeaders == 0 || int(length&^hasHeaders) > len(b)-at {
			continue // cannot be one, and looking is dear
		}
		rec, fault := r.at(b, at)
		if fault != "" {
			continue
		}
		if rec.sequence > last && (any || rec.synced > last) {
			return true
		}
		at += rec.size - 1
	}
	return false
}

// syncedUpTo reads the header that says what was durable when the event was sent; 0 when it has none.
func syncedUpTo(headers []byte) uint64 {
	_, value, found := bytes.Cut(headers, []byte("\r\n"+headerSynced+": "))
	if !found {
		return 0
	}
	value, _, _ = bytes.Cut(value, []byte("\r\n"))
	n, err := strconv.ParseUint(string(value), 10, 64)
	if err != nil {
		return 0
	}
	return n
}
