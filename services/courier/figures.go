package courier

import (
	"context"
	"sync/atomic"
)

// Figures are what a courier has counted since it was made.
type Figures struct {
	// Delivered are the messages that a receiver took, Retries the attempts after a first
	// one, Aside the events that were set aside after the last.
	Delivered, Retries, Aside uint64
}

type figures struct{ delivered, retries, aside atomic.Uint64 }

// Figures tells what was counted so far.
func (c *Courier) Figures() Figures {
	return Figures{Delivered: c.figures.delivered.Load(), Retries: c.figures.retries.Load(), Aside: c.figures.aside.Load()}
}

// Backlog is how many events wait to be told to subscribers, all together, and how many
// are set aside. Events that a subscriber does not want are among the former until they
// were looked at.
func (c *Courier) Backlog(ctx context.Context) (waiting, aside uint64, err error) {
	return c.Journal.Backlog(ctx, readers)
}
