package journal

import (
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"
)

// durability does, for a log on our own disk, what the broker leaves out between its acknowledgement and ours.
//
// It syncs the directory of the block files when it has changed: the broker syncs a new block file, but not the directory that names
// it. And it notes the last acknowledged sequence of each stream in a small file that is not synced. That note survives the death of
// the process, and after a power cut it may be behind the log but never ahead of it; with it, an acknowledged event that was cut off
// the end of a block is told from a write that nobody was told about.
type durability struct {
	dir  string
	note *os.File

	mu     sync.Mutex // guards what follows
	known  map[Stream]uint64
	synced map[Stream]time.Time // directory's time of change that is known to be synced
}

func acknowledgedFile(dir string) string { return filepath.Join(dir, "acknowledged") }

// slot is the length of a stream's line in the note. Slots do not cross a sector, so a line is written whole or not at all.
const slot = 64

// openDurability opens the note and reads what was acknowledged. A line that cannot be read counts as none: it is a help, not the log.
func openDurability(dir string, log *slog.Logger) (*durability, error) {
	f, err := os.OpenFile(acknowledgedFile(dir), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	d := &durability{dir: dir, note: f, known: map[Stream]uint64{}, synced: map[Stream]time.Time{}}
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
		d.known[s] = sequence
	}
	return d, nil
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

// acknowledged is the last sequence of a stream that was acknowledged, as far as the note knows.
func (d *durability) acknowledged(s Stream) uint64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.known[s]
}

// settle makes an event that the broker has synced durable by name too, and notes it. Only then may it be acknowledged.
func (d *durability) settle(s Stream, sequence uint64) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.syncNames(s); err != nil {
		return err
	}
	if sequence <= d.known[s] {
		return nil
	}
	for n, stream := range Streams() {
		if s != stream {
			continue
		}
		if _, err := d.note.WriteAt(writeSlot(s, sequence), int64(n)*slot); err != nil {
			return fmt.Errorf("note event %d of %s as acknowledged: %w", sequence, s, err)
		}
	}
	d.known[s] = sequence
	return nil
}

// syncNames syncs the directory of a stream's blocks if a name was made in it since the last time. The clock of files has ticks of some
// milliseconds, so a change is believed to be the last one of its tick only when a file written later has a later time.
func (d *durability) syncNames(s Stream) error {
	dir := blockDir(d.dir, string(s))
	note, err := d.note.Stat()
	if err != nil {
		return fmt.Errorf("note of what was acknowledged: %w", err)
	}
	blocks, err := os.Stat(dir)
	if err != nil {
		return fmt.Errorf("blocks of %s: %w", s, err)
	}
	changed := blocks.ModTime()
	if changed.Equal(d.synced[s]) {
		return nil
	}
	if err := syncDir(dir); err != nil {
		return fmt.Errorf("sync the names of the blocks of %s: %w", s, err)
	}
	if note.ModTime().After(changed) {
		d.synced[s] = changed
	}
	return nil
}

// close syncs the note, so that it is exact after a clean stop.
func (d *durability) close() error {
	err := d.note.Sync()
	if errors.Is(err, fs.ErrClosed) {
		err = nil
	}
	return errors.Join(err, d.note.Close())
}
