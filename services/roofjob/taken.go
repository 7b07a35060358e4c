package roofjob

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"maps"
	"slices"

	"bydark/events"
)

// taken knows which reports' ids a job has, and where each stands in the log: the newer
// ones by name, those of old as a row of records of 24 bytes each, in order: half of the
// id's SHA-256, which no two ids share, and the sequence. A row is never changed, so that
// states may share it.
type taken struct {
	old   []byte
	newer map[events.ReportID]uint64
}

const (
	idKey    = 16
	idRecord = idKey + 8
)

func keyOf(id events.ReportID) []byte {
	sum := sha256.Sum256([]byte(id))
	return sum[:idKey]
}

// sequence is where an id stands.
func (t *taken) sequence(id events.ReportID) (uint64, bool) {
	if sequence, ok := t.newer[id]; ok || len(t.old) == 0 {
		return sequence, ok
	}
	key := keyOf(id)
	from, to := 0, len(t.old)/idRecord
	for from < to {
		middle := (from + to) / 2
		record := t.old[middle*idRecord:][:idRecord]
		switch c := bytes.Compare(record[:idKey], key); {
		case c == 0:
			return binary.LittleEndian.Uint64(record[idKey:]), true
		case c < 0:
			from = middle + 1
		default:
			to = middle
		}
	}
	return 0, false
}

func (t *taken) add(id events.ReportID, sequence uint64) {
	if t.newer == nil {
		t.newer = map[events.ReportID]uint64{}
	}
	t.newer[id] = sequence
}

func (t *taken) count() int { return len(t.old)/idRecord + len(t.newer) }

// settle puts the newer ids into a new row.
func (t *taken) settle() {
	if len(t.newer) == 0 {
		return
	}
	add := make([][]byte, 0, len(t.newer))
	for id, sequence := range t.newer {
		add = append(add, binary.LittleEndian.AppendUint64(keyOf(id), sequence))
	}
	slices.SortFunc(add, bytes.Compare)
	row := make([]byte, 0, len(t.old)+len(add)*idRecord)
	from := 0
	for _, record := range add {
		to := from
		for to < len(t.old) && bytes.Compare(t.old[to:to+idKey], record[:idKey]) < 0 {
			to += idRecord
		}
		row = append(append(row, t.old[from:to]...), record...)
		from = to
	}
	t.old, t.newer = append(row, t.old[from:]...), nil
}

// upTo are the ids that stand in the log up to a sequence.
func (t *taken) upTo(last uint64) taken {
	to := taken{newer: maps.Clone(t.newer)}
	maps.DeleteFunc(to.newer, func(_ events.ReportID, sequence uint64) bool { return sequence > last })
	for record := range slices.Chunk(t.old, idRecord) {
		if binary.LittleEndian.Uint64(record[idKey:]) <= last {
			to.old = append(to.old, record...)
		}
	}
	return to
}
