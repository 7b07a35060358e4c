package projections

import (
	"context"
	"sync"
)

// Changed says that a job's rows are of a new state. Without a company, anything may have changed.
type Changed struct {
	Company, Job string
	Sequence     uint64 // of the last event that was folded
}

// Subscription collects what changes until it is asked. A subscriber that asks rarely gets the last change of each job, and holds up
// nobody. It is used by one goroutine; Close may be called by any.
type Subscription struct {
	from *changes
	wake chan struct{} // holds one token while pending is not empty

	mu      sync.Mutex // above pending
	pending map[place]uint64
}

// Next waits for changes and gives those since the last call, at most one for a job, in no order. It fails with the context's error.
func (s *Subscription) Next(ctx context.Context) ([]Changed, error) {
	select {
	case <-s.wake:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	all := make([]Changed, 0, len(s.pending))
	for p, sequence := range s.pending {
		all = append(all, Changed{p.company, p.job, sequence})
	}
	s.pending = map[place]uint64{}
	return all, nil
}

// Close ends the subscription.
func (s *Subscription) Close() {
	s.from.mu.Lock()
	defer s.from.mu.Unlock()
	delete(s.from.to, s)
}

func (s *Subscription) add(changed map[place]uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for p, sequence := range changed {
		s.pending[p] = sequence
	}
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// changes knows who wants to be told.
type changes struct {
	mu sync.Mutex // above to
	to map[*Subscription]struct{}
}

func (c *changes) subscribe() *Subscription {
	s := &Subscription{from: c, wake: make(chan struct{}, 1), pending: map[place]uint64{}}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.to == nil {
		c.to = map[*Subscription]struct{}{}
	}
	c.to[s] = struct{}{}
	return s
}

func (c *changes) tell(changed map[place]uint64) {
	if len(changed) == 0 {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	for s := range c.to {
		s.add(changed)
	}
}
