package assembly

import (
	"crypto/sha256"
	"sync"
)

// shelfHolds is how many assemblies a shelf holds: a company builds in a few ways.
const shelfHolds = 64

// Shelf holds assemblies that were read, so that jobs which are built alike share one and
// read it once. An empty one is ready; several goroutines may use it.
type Shelf struct {
	mu     sync.Mutex // above all
	read   map[[sha256.Size]byte]*Assembly
	oldest [][sha256.Size]byte
}

// Read is the function Read, but for a document that it has read lately. The assembly
// belongs to all who read it and must not be changed.
func (s *Shelf) Read(doc []byte) (*Assembly, error) {
	key := sha256.Sum256(doc)
	s.mu.Lock()
	defer s.mu.Unlock()
	if a, ok := s.read[key]; ok {
		return a, nil
	}
	a, err := Read(doc)
	if err != nil {
		return nil, err
	}
	if s.read == nil {
		s.read = map[[sha256.Size]byte]*Assembly{}
	}
	if len(s.oldest) == shelfHolds {
		delete(s.read, s.oldest[0])
		s.oldest = s.oldest[1:]
	}
	s.read[key], s.oldest = a, append(s.oldest, key)
	return a, nil
}
