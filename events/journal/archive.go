package journal

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"time"
)

// A backup is one file: the line below, frames, and the SHA-256 of everything before it (32 bytes). A frame is its kind (1 byte), the
// length of what follows (4 bytes, big endian), and that. An event or an object is its parts in turn, each with its length before it;
// the last frame is the Summary as JSON.
const archiveName = "bydark backup 1\n"

const (
	frameEvent   = 'e'
	frameObject  = 'o'
	frameSummary = 's'
)

// maxFrame is more than any frame holds.
const maxFrame = MaxObject + 1<<20

// Summary is what a backup holds. Each stream is whole up to its Ends.
type Summary struct {
	Ends    map[Stream]Position `json:"ends"`
	Events  int                 `json:"events"`
	Objects int                 `json:"objects"`
}

// archiveWriter writes a backup.
type archiveWriter struct {
	out *bufio.Writer
	sum hash.Hash
	err error
}

func newArchiveWriter(w io.Writer) *archiveWriter {
	a := &archiveWriter{sum: sha256.New()}
	a.out = bufio.NewWriterSize(io.MultiWriter(w, a.sum), 1<<20)
	_, a.err = a.out.WriteString(archiveName)
	return a
}

func (a *archiveWriter) frame(kind byte, parts ...[]byte) error {
	length := 0
	for _, p := range parts {
		length += 4 + len(p)
	}
	head := append([]byte{kind}, binary.BigEndian.AppendUint32(nil, uint32(length))...)
	write := func(b []byte) {
		if a.err == nil {
			_, a.err = a.out.Write(b)
		}
	}
	write(head)
	for _, p := range parts {
		write(binary.BigEndian.AppendUint32(nil, uint32(len(p))))
		write(p)
	}
	return a.err
}

// event writes an event with the digests that it was stored with. The sequence is its place in its stream's row of frames.
func (a *archiveWriter) event(e Entry) error {
	return a.frame(frameEvent, []byte(e.Subject), []byte(e.ID), []byte(e.Type), []byte(e.Source), []byte(e.About), []byte(e.By),
		[]byte(stamp(e.Time)), []byte(stamp(e.Recorded)), e.Data, e.Digest[:], e.Prev[:])
}

func (a *archiveWriter) close(s Summary, w io.Writer) error {
	b, err := json.Marshal(s)
	if err != nil {
		return err
	}
	if err := a.frame(frameSummary, b); err != nil {
		return err
	}
	if err := a.out.Flush(); err != nil {
		return err
	}
	_, err = w.Write(a.sum.Sum(nil))
	return err
}

// archiveReader reads a backup that was found whole.
type archiveReader struct{ in *bufio.Reader }

// ErrNoBackup says that a file is none, or only a part of one.
var ErrNoBackup = errors.New("file is not a whole backup")

// openArchive reads a backup through once, fails unless it is whole to the last bit, and goes back to its start.
func openArchive(r io.ReadSeeker) (*archiveReader, error) {
	size, err := r.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	if size < int64(len(archiveName)+sha256.Size) {
		return nil, fmt.Errorf("%w: it has %d bytes", ErrNoBackup, size)
	}
	name := make([]byte, len(archiveName))
	if _, err := io.ReadFull(r, name); err != nil {
		return nil, err
	}
	if string(name) != archiveName {
		return nil, fmt.Errorf("%w: it begins with %q", ErrNoBackup, name)
	}
	sum := sha256.New()
	sum.Write(name) // a hash never fails
	if _, err := io.CopyN(sum, r, size-int64(len(name))-sha256.Size); err != nil {
		return nil, err
	}
	end, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(end, sum.Sum(nil)) {
		return nil, fmt.Errorf("%w: its content has another digest than the one at its end", ErrNoBackup)
	}
	if _, err := r.Seek(int64(len(name)), io.SeekStart); err != nil {
		return nil, err
	}
	return &archiveReader{in: bufio.NewReaderSize(r, 1<<20)}, nil
}

// ReadSummary reads a backup through and says what it holds. It fails unless the file is whole, to the last bit.
func ReadSummary(r io.ReadSeeker) (Summary, error) {
	a, err := openArchive(r)
	if err != nil {
		return Summary{}, err
	}
	for {
		kind, parts, err := a.next()
		if err != nil {
			return Summary{}, err
		}
		if kind != frameSummary {
			continue
		}
		if len(parts) != 1 {
			return Summary{}, fmt.Errorf("%w: its summary has %d parts", ErrNoBackup, len(parts))
		}
		var s Summary
		if err := json.Unmarshal(parts[0], &s); err != nil {
			return Summary{}, fmt.Errorf("%w: %w", ErrNoBackup, err)
		}
		return s, nil
	}
}

// next reads a frame.
func (a *archiveReader) next() (kind byte, parts [][]byte, err error) {
	var head [5]byte
	if _, err := io.ReadFull(a.in, head[:]); err != nil {
		return 0, nil, fmt.Errorf("%w: %w", ErrNoBackup, err)
	}
	length := binary.BigEndian.Uint32(head[1:])
	if length > maxFrame {
		return 0, nil, fmt.Errorf("%w: a frame of %d bytes", ErrNoBackup, length)
	}
	b := make([]byte, length)
	if _, err := io.ReadFull(a.in, b); err != nil {
		return 0, nil, fmt.Errorf("%w: %w", ErrNoBackup, err)
	}
	for len(b) > 0 {
		if len(b) < 4 || uint64(binary.BigEndian.Uint32(b)) > uint64(len(b)-4) {
			return 0, nil, fmt.Errorf("%w: a part is longer than its frame", ErrNoBackup)
		}
		n := binary.BigEndian.Uint32(b)
		parts, b = append(parts, b[4:4+n:4+n]), b[4+n:]
	}
	return head[0], parts, nil
}

// archivedEvent reads the parts of an event back and checks its digest.
func archivedEvent(parts [][]byte) (Entry, error) {
	if len(parts) != 11 || len(parts[9]) != len(Digest{}) || len(parts[10]) != len(Digest{}) {
		return Entry{}, fmt.Errorf("%w: an event of %d parts", ErrNoBackup, len(parts))
	}
	text := func(n int) string { return string(parts[n]) }
	happened, err := time.Parse(time.RFC3339Nano, text(6))
	recorded, err2 := time.Parse(time.RFC3339Nano, text(7))
	if err := errors.Join(err, err2); err != nil {
		return Entry{}, fmt.Errorf("%w: event %s: %w", ErrNoBackup, text(1), err)
	}
	e := Entry{Subject: text(0), ID: text(1), Type: text(2), Source: text(3), About: text(4), By: text(5), Time: happened, Recorded: recorded,
		Data: parts[8], Digest: Digest(parts[9]), Prev: Digest(parts[10])}
	if e.digest() != e.Digest {
		return Entry{}, fmt.Errorf("%w: event %s of %s has another digest", ErrNoBackup, e.ID, e.Subject)
	}
	return e, nil
}
