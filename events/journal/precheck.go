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

// checker reads a stream's store without changing it.
type checker struct {
	dir     string
	stream  Stream
	durable uint64 // last sequence that is known to have been durable
	stopped bool   // the log was closed, and all of it is durable
}

// torn is the end of a stream behind its last whole record: writes that were cut off, and that nobody was told about. It begins in one
// block and goes on to the last one. Behind its first fault there may be whole records: a power cut keeps any part of what was not synced.
type torn struct {
	pieces []piece
	none   bool // not one record of the stream is left
}

// piece is the end of a block file.
type piece struct {
	file string
	at   int64
	data []byte
}

// check returns the last sequence, and what has to be cut off the stream's end. A stream that was never made has no store.
//
// Fails with *Damage.
func (c checker) check() (last uint64, cut *torn, err error) {
	last, cut, err = c.readBlocks()
	if err != nil {
		return last, nil, err
	}
	damage := func(file, reason string) error {
		return &Damage{Stream: c.stream, File: file, Last: last, Reason: reason}
	}
	if last < c.durable {
		return last, nil, damage("", fmt.Sprintf("events up to %d were acknowledged (%s)", c.durable, acknowledgedFile(c.dir)))
	}
	home := filepath.Dir(blockDir(c.dir, string(c.stream)))
	file, reason := checkMeta(home)
	switch {
	case last > 0 && reason != "":
		return last, nil, damage(file, reason)
	case last == 0 && !c.stopped && reason != "":
		// It was being made when the power went. Half of it is of no use to the broker.
		if _, err := os.Stat(home); errors.Is(err, os.ErrNotExist) {
			return 0, nil, nil
		} else if err != nil {
			return 0, nil, err
		}
		if cut == nil {
			cut = &torn{}
		}
		cut.none = true
		return 0, cut, nil
	case last == 0:
		return 0, cut, nil
	}
	if file, indexed := c.indexedUpTo(); c.stopped && indexed > last {
		return last, nil, damage(file, fmt.Sprintf("the broker's index knows events up to %d", indexed))
	}
	return last, cut, nil
}

// readBlocks reads all records of a stream. A fault is damage unless it is at the very end and nobody was told of what stood there.
func (c checker) readBlocks() (last uint64, cut *torn, err error) {
	blocks, err := blockFiles(blockDir(c.dir, string(c.stream)))
	if err != nil {
		return 0, nil, err
	}
	var first *Damage // what the first fault is if it turns out to be damage
	for _, block := range blocks {
		b, err := os.ReadFile(block.path)
		if err != nil {
			return last, nil, err
		}
		reader, err := newBlockReader(string(c.stream), block.number)
		if err != nil {
			return last, nil, err
		}
		at := 0
		if first == nil {
			var fault string
			if last, at, fault = reader.upTo(b, last); fault == "" {
				continue
			}
			first = &Damage{Stream: c.stream, File: block.path, Offset: int64(at), Last: last, Reason: fault}
			cut = &torn{}
		}
		if last < c.durable || reader.proves(b, at, last, c.stopped) {
			return last, nil, first
		}
		cut.pieces = append(cut.pieces, piece{file: block.path, at: int64(at), data: b[at:]})
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

// indexName is the file that tells the broker what its blocks hold.
const indexName = "index.db"

// indexedUpTo is the last sequence in the broker's index, 0 when it has none that the broker itself would use. After a clean stop the
// index may be older than the blocks, never newer: it is written after them.
func (c checker) indexedUpTo() (file string, last uint64) {
	file = filepath.Join(blockDir(c.dir, string(c.stream)), indexName)
	b, err := os.ReadFile(file)
	if err != nil || len(b) < 32 {
		return file, 0
	}
	b, sum := b[:len(b)-checksumSize], b[len(b)-checksumSize:]
	const magic = 11
	if b[0] != magic || !bytes.Equal(brokerSum(string(c.stream), b), sum) {
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

// cutOff takes a torn end off, keeps a copy of it beside the store, and has the broker make its index anew. It goes from the end to the
// beginning, so that what is left when it is interrupted is again a torn end.
func (t *torn) cutOff(dir string, s Stream, log *slog.Logger) error {
	msgs := blockDir(dir, string(s))
	for _, p := range t.pieces {
		kept := filepath.Join(dir, fmt.Sprintf("cut-%s-%s-%d", s, filepath.Base(p.file), p.at))
		if err := writeSynced(kept, p.data); err != nil {
			return fmt.Errorf("keep a copy of the torn end of %s: %w", p.file, err)
		}
		log.Warn("the last writes were cut off and never acknowledged; their bytes were taken off the log",
			"stream", s, "file", p.file, "offset", p.at, "bytes", len(p.data), "copy", kept)
	}
	if t.none {
		home := filepath.Dir(msgs)
		return errors.Join(os.RemoveAll(home), syncDir(filepath.Dir(home)))
	}
	if err := os.Remove(filepath.Join(msgs, indexName)); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	for _, p := range slices.Backward(t.pieces) {
		if err := p.cutOff(); err != nil {
			return fmt.Errorf("cut the torn end off %s: %w", p.file, err)
		}
	}
	return syncDir(msgs)
}

// cutOff shortens the block, or takes it away when nothing is left of it.
func (p piece) cutOff() error {
	if p.at == 0 {
		return errors.Join(os.Remove(p.file), syncDir(filepath.Dir(p.file)))
	}
	f, err := os.OpenFile(p.file, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Truncate(p.at), f.Sync(), f.Close())
}
