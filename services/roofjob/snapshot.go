package roofjob

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"bydark/events"
	"bydark/events/journal"

	"github.com/minio/highwayhash"
)

// A snapshot is a state that decides, written down: a cache of what the log says, so
// that a long job need not be folded from its beginning. It is
//
//	mark 8, FoldVersion 4, length of ids 4 (little endian), ids, papers, footings, sum 16
//
// The last footing is the state itself. The sum is a HighwayHash of all before it and
// finds what was damaged; that the snapshot is of the log at hand is found by loading
// the log from the event that it names, by sequence and digest.
const (
	snapshotMark = "bydark.s"
	snapshotHead = len(snapshotMark) + 8
	snapshotSum  = highwayhash.Size128
)

// Why a snapshot is not used. The log has all that it would have said.
var (
	errDamagedSnapshot = errors.New("the snapshot is damaged")
	errOtherSnapshot   = errors.New("the snapshot is of another release or job")
)

// sumKey is no secret: the sum is against damage, not against people.
var sumKey = []byte("bydark: damage in snapshots found")[:highwayhash.Size]

// snapshot settles a state and writes it down.
func (s *State) snapshot(tail journal.Tail) ([]byte, error) {
	if err := s.settle(tail); err != nil {
		return nil, err
	}
	c := &codec{writes: true}
	words(c, &s.Company)
	words(c, &s.Job)
	list(c, &s.papers.all, (*codec).bytes)
	list(c, &s.footings, layoutFooting)
	data := make([]byte, 0, snapshotHead+len(s.ids.old)+len(c.out)+snapshotSum)
	data = append(data, snapshotMark...)
	data = binary.LittleEndian.AppendUint32(data, FoldVersion)
	data = binary.LittleEndian.AppendUint32(data, uint32(len(s.ids.old)))
	data = append(append(data, s.ids.old...), c.out...)
	sum := highwayhash.Sum128(data, sumKey)
	return append(data, sum[:]...), c.err
}

// readSnapshot reads a state back, with the last event that it holds. The state keeps
// parts of data. Fails with errOtherSnapshot, or with errDamagedSnapshot.
func readSnapshot(data []byte, company events.CompanyID, job events.JobID) (*State, journal.Tail, error) {
	if len(data) < snapshotHead+snapshotSum || string(data[:len(snapshotMark)]) != snapshotMark {
		return nil, journal.Tail{}, errDamagedSnapshot
	}
	content, sum := data[:len(data)-snapshotSum], data[len(data)-snapshotSum:]
	if got := highwayhash.Sum128(content, sumKey); !bytes.Equal(got[:], sum) {
		return nil, journal.Tail{}, errDamagedSnapshot
	}
	if v := binary.LittleEndian.Uint32(content[len(snapshotMark):]); v != FoldVersion {
		return nil, journal.Tail{}, fmt.Errorf("%w: it was folded by version %d, this is %d", errOtherSnapshot, v, FoldVersion)
	}
	ids, rest := int(binary.LittleEndian.Uint32(content[snapshotHead-4:])), content[snapshotHead:]
	if ids > len(rest) || ids%idRecord != 0 {
		return nil, journal.Tail{}, errDamagedSnapshot
	}
	s := deciding(company, job)
	s.ids.old = slices.Clip(rest[:ids])
	return s.read(&codec{in: string(rest[ids:])})
}

func (s *State) read(c *codec) (*State, journal.Tail, error) {
	company, job := s.Company, s.Job
	words(c, &company)
	words(c, &job)
	list(c, &s.papers.all, (*codec).bytes)
	list(c, &s.footings, layoutFooting)
	switch {
	case c.err != nil || len(c.in) > 0 || len(s.footings) == 0:
		return nil, journal.Tail{}, errDamagedSnapshot
	case company != s.Company || job != s.Job:
		return nil, journal.Tail{}, fmt.Errorf("%w: it is of %s.%s", errOtherSnapshot, company, job)
	}
	state, err := s.at(len(s.footings) - 1)
	if err != nil {
		return nil, journal.Tail{}, fmt.Errorf("%w: %w", errDamagedSnapshot, err)
	}
	state.ids.old = s.ids.old
	return state, s.footings[len(s.footings)-1].tail, nil
}

func layoutFooting(c *codec, f *footing) {
	c.uint(&f.tail.Sequence)
	digest := f.tail.Digest[:]
	c.bytes(&digest)
	copy(f.tail.Digest[:], digest)
	c.time(&f.tail.Recorded)
	c.time(&f.newest.at)
	words(c, &f.newest.id)
	c.bool(&f.newest.opens)
	c.number(&f.count)
	words(c, &f.state)
}
