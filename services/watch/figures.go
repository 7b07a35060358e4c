package watch

import (
	"time"

	"bydark/events"
)

// Figures are what a Watch has counted since it was made.
type Figures struct {
	// Looks are the looks at all roofs that came to their end, Failed those in which a
	// roof could not be looked at; Last is when the last whole one ended, zero for never.
	Looks, Failed uint64
	Last          time.Time
	// Exposed, Cleared and Short are the warnings that it has made, by kind.
	Exposed, Cleared, Short uint64
}

// Figures tells what was counted so far.
func (w *Watch) Figures() Figures {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.figures
}

func (w *Watch) lookedAll(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err != nil {
		w.figures.Failed++
		return
	}
	w.figures.Looks++
	w.figures.Last = w.Now()
}

// told counts a warning that was appended.
func (w *Watch) told(body events.Body) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch body.(type) {
	case events.ExposureWarned:
		w.figures.Exposed++
	case events.ExposureCleared:
		w.figures.Cleared++
	case events.ShortageWarned:
		w.figures.Short++
	}
}
