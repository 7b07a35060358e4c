package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"

	"github.com/minio/highwayhash"
)

// The broker truncates what it cannot read and gives the sequences away again. So every block is read before the broker opens the
// store, and a store with a fault is left as it is.

// torn is the end of a block behind its last whole record: a write that was cut off, and that nobody was told about.
type torn struct {
	file string
	at   int64
	data []byte
}

// precheck reads a stream's store without changing it. It returns the last sequence, and what has to be cut off its end. A stream that
// was never made has no store.
//
// Fails with *Damage.
func precheck(dir string, s Stream, acknowledged uint64) (last uint64, cut *torn, err error) {
	last, cut, err = readBlocks(dir, s, acknowledged)
	if err != nil {
		return last, nil, err
	}
	damage := func(file, reason string) error {
		return &Damage{Stream: s, File: file, Last: last, Reason: reason}
	}
	if last < acknowledged {
		return last, nil, damage("", fmt.Sprintf("events up to %d were acknowledged (%s)", acknowledged, acknowledgedFile(dir)))
	}
	if last == 0 {
		return last, cut, nil // what is there of a stream without events may be half made; the broker makes it anew
	}
	if file, reason := checkMeta(filepath.Dir(blockDir(dir, string(s)))); reason != "" {
		return last, nil, damage(file, reason)
	}
	if file, indexed := indexedUpTo(dir, s); indexed > last {
		return last, nil, damage(file, fmt.Sprintf("the broker's index knows events up to %d", indexed))
	}
	return last, cut, nil
}

// readBlocks reads all records of a stream. A fault is damage unless it is at the very end and nobody was told of what stood there.
func readBlocks(dir string, s Stream, acknowledged uint64) (last uint64, cut *torn, err error) {
	blocks, err := blockFiles(blockDir(dir, string(s)))
	if err != nil {
		return 0, nil, err
	}
	for n, block := range blocks {
		b, err := os.ReadFile(block.path)
		if err != nil {
			return last, nil, err
		}
		reader, err := newBlockReader(string(s), block.number)
		if err != nil {
			return last, nil, err
		}
		end, at, fault := reader.upTo(b, last)
		last = end
		switch {
		case fault == "":
		case n < len(blocks)-1 || last < acknowledged || reader.wholeAfter(b, at, last):
			return last, nil, &Damage{Stream: s, File: block.path, Offset: int64(at), Last: last, Reason: fault}
		default:
			cut = &torn{file: block.path, at: int64(at), data: b[at:]}
		}
	}
	return last, cut, nil
}

// block is one block file.
type block struct {
	number int
	path   string
}

// blockFiles lists a stream's blocks in order.
func blockFiles(dir string) ([]block, error) {
	files, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var blocks []block
	for _, f := range files {
		var n int
		if _, err := fmt.Sscanf(f.Name(), "%d.blk", &n); err == nil && f.Name() == fmt.Sprintf("%d.blk", n) {
			blocks = append(blocks, block{number: n, path: filepath.Join(dir, f.Name())})
		}
	}
	slices.SortFunc(blocks, func(a, b block) int { return a.number - b.number })
	return blocks, nil
}

// checkMeta tests the file that holds the stream's settings. The broker leaves out a stream whose settings it cannot read, and one
// that is left out would be made anew over its events.
func checkMeta(dir string) (file, reason string) {
	file = filepath.Join(dir, "meta.inf")
	meta, err := os.ReadFile(file)
	if err != nil {
		return file, err.Error()
	}
	sum, err := os.ReadFile(filepath.Join(dir, "meta.sum"))
	if err != nil {
		return filepath.Join(dir, "meta.sum"), err.Error()
	}
	if hex.EncodeToString(brokerSum(filepath.Base(dir), meta)) != string(sum) {
		return file, "its checksum is not the one in meta.sum"
	}
	return "", ""
}

// brokerSum is the broker's checksum of a file that belongs to a stream.
func brokerSum(stream string, b []byte) []byte {
	key := sha256.Sum256([]byte(stream))
	h, err := highwayhash.NewDigest64(key[:])
	if err != nil {
		panic(err) // the key is 32 bytes
	}
	_, _ = h.Write(b) // a hash never fails
	return h.Sum(nil)
}

// indexedUpTo is the last sequence in the broker's index, 0 when it has none that the broker itself would use. The index may be older
// than the blocks, never newer: it is written after them.
func indexedUpTo(dir string, s Stream) (file string, last uint64) {
	file = filepath.Join(blockDir(dir, string(s)), "index.db")
	b, err := os.ReadFile(file)
	if err != nil || len(b) < 32 {
		return file, 0
	}
	b, sum := b[:len(b)-checksumSize], b[len(b)-checksumSize:]
	const magic = 11
	if b[0] != magic || !bytes.Equal(brokerSum(string(s), b), sum) {
		return file, 0
	}
	// magic 1, version 1, then as varints: messages, bytes, first sequence, first time, last sequence
	b = b[2:]
	for range 5 {
		v, n := binary.Uvarint(b)
		if n <= 0 {
			return file, 0
		}
		last, b = v, b[n:]
	}
	return file, last
}

// cutOff takes a torn end off, keeps a copy of it beside the store, and has the broker make its index anew.
func (t *torn) cutOff(dir string, s Stream, log *slog.Logger) error {
	kept := filepath.Join(dir, fmt.Sprintf("cut-%s-%s-%d", s, filepath.Base(t.file), t.at))
	if err := writeSynced(kept, t.data); err != nil {
		return fmt.Errorf("keep a copy of the torn end of %s: %w", t.file, err)
	}
	if err := os.Remove(filepath.Join(filepath.Dir(t.file), "index.db")); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	f, err := os.OpenFile(t.file, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Truncate(t.at), f.Sync(), f.Close(), syncDir(filepath.Dir(t.file))); err != nil {
		return fmt.Errorf("cut the torn end off %s: %w", t.file, err)
	}
	log.Warn("the last write was cut off and never acknowledged; its bytes were taken off the log",
		"stream", s, "file", t.file, "offset", t.at, "bytes", len(t.data), "copy", kept)
	return nil
}
