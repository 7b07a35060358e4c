package faultfs

import (
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"time"

	gofuse "github.com/hanwen/go-fuse/v2/fs"
)

// node is a file or a directory, as it is and as a power cut would leave it.
type node struct {
	gofuse.Inode
	f       *FS
	id      uint64
	changed time.Time

	// A directory's names: those now, and those that survive.
	now, then map[string]*node

	// A file's content: now, and at its last sync; and the sectors that differ.
	data, kept []byte
	dirty      map[int]bool
}

// write changes a file's content.
func (n *node) write(b []byte, at int) {
	if grown := at + len(b); grown > len(n.data) {
		n.resize(grown)
	}
	copy(n.data[at:], b)
	n.touch(at, at+len(b))
}

// resize shortens a file, or fills it up with zeros.
func (n *node) resize(size int) {
	old := len(n.data)
	if size <= old {
		n.data = n.data[:size]
	} else {
		n.data = append(n.data, make([]byte, size-old)...)
	}
	n.touch(min(old, size), max(old, size))
}

func (n *node) touch(from, to int) {
	for s := from / sector; s*sector < to; s++ {
		n.dirty[s] = true
	}
	n.changed = time.Now()
}

// keep makes a file's content durable.
func (n *node) keep() {
	if n.now != nil {
		return
	}
	n.kept = fit(n.kept, len(n.data))
	for s := range n.dirty {
		if from := s * sector; from < len(n.data) {
			copy(n.kept[from:min(from+sector, len(n.data))], n.data[from:])
		}
	}
	clear(n.dirty)
}

// lose takes what was not synced away from a file, but for its length.
func (n *node) lose() {
	before := fit(slices.Clone(n.kept), len(n.data))
	for s := range n.dirty {
		if from := s * sector; from < len(n.data) {
			copy(n.data[from:min(from+sector, len(n.data))], before[from:])
		}
	}
	n.kept = before
	clear(n.dirty)
}

// fit shortens b or fills it up with zeros.
func fit(b []byte, size int) []byte {
	if size <= len(b) {
		return b[:size:size]
	}
	return append(b, make([]byte, size-len(b))...)
}

// keepNames makes the names in a directory durable, and with deep those below it.
func (n *node) keepNames(deep bool) {
	n.then = maps.Clone(n.now)
	for _, child := range n.now {
		if deep && child.now != nil {
			child.keepNames(true)
		}
	}
}

// survive writes what a power cut leaves of a directory.
func (n *node) survive(dir string, s Survives, chance *rand.Rand) error {
	left := maps.Clone(n.then)
	switch s {
	case All:
		left = n.now
	case Some:
		for _, name := range slices.Sorted(maps.Keys(n.now)) { // what was made or renamed
			if n.then[name] != n.now[name] && chance.IntN(2) == 0 {
				left[name] = n.now[name]
			}
		}
		for _, name := range slices.Sorted(maps.Keys(n.then)) { // what was taken away
			if n.now[name] == nil && chance.IntN(2) == 0 {
				delete(left, name)
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(left)) {
		child, path := left[name], filepath.Join(dir, name)
		if child.now == nil {
			if err := os.WriteFile(path, child.survivor(s, chance), 0o600); err != nil {
				return err
			}
			continue
		}
		if err := os.Mkdir(path, 0o700); err != nil {
			return err
		}
		if err := child.survive(path, s, chance); err != nil {
			return err
		}
	}
	return nil
}

// survivor is what a power cut leaves of a file's content.
func (n *node) survivor(s Survives, chance *rand.Rand) []byte {
	left := slices.Clone(n.kept)
	switch s {
	case Nothing:
		return left
	case All:
		return n.data
	}
	if len(n.data) < len(left) && chance.IntN(2) == 0 {
		left = left[:len(n.data)]
	}
	for _, at := range slices.Sorted(maps.Keys(n.dirty)) {
		from := at * sector
		if from >= len(n.data) || chance.IntN(2) == 0 {
			continue
		}
		to := min(from+sector, len(n.data))
		left = fit(left, max(len(left), to))
		copy(left[from:to], n.data[from:to])
	}
	return left
}
