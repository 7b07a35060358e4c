package journal

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"hash/crc32"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"time"
)

// durability does, for a log on our own disk, what the broker leaves out between its acknowledgement and ours: it syncs. The broker
// in this process writes each event and acknowledges it unsynced, and one sync serves all that wait; see syncer.
//
// It notes the last durable sequence of each stream in a small file that is synced a moment later. That note survives the death of the
// process, and after a power cut it may be behind the log but never ahead of it; with it, a durable event that was cut off the end of a
// block is told from a write that nobody was told about. The events themselves carry the same knowledge, later; see headerSynced.
type durability struct {
	note    *os.File
	stale   atomic.Bool // the note was written since it was last synced
	streams map[Stream]*syncer
}

func acknowledgedFile(dir string) string { return filepath.Join(dir, "acknowledged") }

// slot is the length of a stream's line in the note. Slots do not cross a sector, so a line is written whole or not at all.
const slot = 64

// openDurability opens the note and reads what was durable. A line that cannot be read counts as none: it is a help, not the log.
// failed is told of the first sync that does not succeed.
func openDurability(dir string, log *slog.Logger, figures *figures, failed func(error)) (*durability, error) {
	f, err := os.OpenFile(acknowledgedFile(dir), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	d := &durability{note: f, streams: map[Stream]*syncer{}}
	b, err := os.ReadFile(f.Name())
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	for n, s := range Streams() {
		line := b[min(len(b), n*slot):min(len(b), (n+1)*slot)]
		sequence, ok := readSlot(s, line)
		if !ok && len(line) > 0 {
			log.Warn("the note of what was acknowledged cannot be read; a log cut short would not be noticed by it", "file", f.Name(), "stream", s)
		}
		y := &syncer{dir: blockDir(dir, string(s)), figures: figures, failed: failed, noted: func(sequence uint64) error {
			return d.write(n, s, sequence)
		}}
		y.synced.Store(sequence)
		d.streams[s] = y
	}
	return d, nil
}

// write puts a stream's line into the note.
func (d *durability) write(n int, s Stream, sequence uint64) error {
	if _, err := d.note.WriteAt(writeSlot(s, sequence), int64(n)*slot); err != nil {
		return fmt.Errorf("note event %d of %s as durable: %w", sequence, s, err)
	}
	d.stale.Store(true)
	return nil
}

// writeSlot is a stream's line: name, sequence, CRC-32 of both.
func writeSlot(s Stream, sequence uint64) []byte {
	b := fmt.Appendf(make([]byte, 0, slot), "%-8s%20d ", s, sequence)
	b = fmt.Appendf(b, "%08x", crc32.ChecksumIEEE(b))
	for len(b) < slot-1 {
		b = append(b, ' ')
	}
	return append(b, '\n')
}

// readSlot reads a line back. Zeros are a line that was never written.
func readSlot(s Stream, line []byte) (uint64, bool) {
	if len(line) < slot {
		return 0, len(line) == 0
	}
	if string(line) == string(make([]byte, slot)) {
		return 0, true
	}
	var digits string
	if _, err := fmt.Sscan(string(line[8:28]), &digits); err != nil {
		return 0, false
	}
	sequence, err := strconv.ParseUint(digits, 10, 64)
	if err != nil || string(writeSlot(s, sequence)) != string(line) {
		return 0, false
	}
	return sequence, true
}

// durable is the last sequence of a stream that is known to be durable.
func (d *durability) durable(s Stream) uint64 { return d.streams[s].synced.Load() }

// settle returns when an event that the broker has written is durable. Only then may it be acknowledged, or shown to anybody. Fails with
// ErrUnknown.
func (d *durability) settle(ctx context.Context, s Stream, sequence uint64) error {
	if err := d.streams[s].settle(ctx, sequence); err != nil {
		return fmt.Errorf("sync event %d of %s: %w: %w", sequence, s, ErrUnknown, err)
	}
	return nil
}

// notePause is how long the note may be behind on the disk.
const notePause = time.Second

// keep syncs the note now and then until the context ends. The note is a help: when its sync fails, so does the next one of a block.
func (d *durability) keep(ctx context.Context, log *slog.Logger) {
	for pause(ctx, notePause) == nil {
		if !d.stale.Swap(false) {
			continue
		}
		if err := syncContent(d.note); err != nil {
			log.Error("the note of what is durable cannot be synced", "error", err)
		}
	}
}

// close syncs the note, so that it is exact after a clean stop.
func (d *durability) close() error {
	err := d.note.Sync()
	for _, y := range d.streams {
		y.mu.Lock()
		y.err = cmp.Or(y.err, ErrClosed)
		err = errors.Join(err, y.close())
		y.mu.Unlock()
	}
	return errors.Join(err, d.note.Close())
}
