package journal

import (
	"errors"
	"slices"
	"sync"
	"time"
)

// Figures are what a journal has counted since it was opened.
type Figures struct {
	Stored    uint64 // events appended
	Conflicts uint64 // appends that somebody else was ahead of
	Full      uint64 // appends turned away for want of room
	Unknown   uint64 // appends that got no answer

	Append Distribution // nanoseconds that a stored event took, from the call to durable
	Sync   Distribution // nanoseconds of each sync of a log on our own disk
	Group  Distribution // callers that each sync served
}

// Distribution counts values by size.
type Distribution struct {
	Bounds []int64  // ascending; a value belongs to the first bound that is not below it
	Counts []uint64 // one a bound, and one more for values above all of them
	Sum    int64    // of all values
}

func (d *Distribution) add(v int64) {
	at, _ := slices.BinarySearch(d.Bounds, v)
	d.Counts[at]++
	d.Sum += v
}

func distribution(bounds ...int64) Distribution {
	return Distribution{Bounds: bounds, Counts: make([]uint64, len(bounds)+1)}
}

// durations are the bounds of times: 100 µs to 10 s.
func durations() Distribution {
	var bounds []int64
	for decade := 100 * time.Microsecond; decade < 10*time.Second; decade *= 10 {
		bounds = append(bounds, int64(decade), int64(decade*2), int64(decade*5))
	}
	return distribution(append(bounds, int64(10*time.Second))...)
}

// figures gathers Figures.
type figures struct {
	mu  sync.Mutex // guards all
	all Figures
}

func newFigures() *figures {
	return &figures{all: Figures{Append: durations(), Sync: durations(), Group: distribution(1, 2, 4, 8, 16, 32, 64, 128, 256)}}
}

// appended counts an append by its outcome. What was never sent is not counted, but for want of room.
func (f *figures) appended(err error, took time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	switch {
	case err == nil:
		f.all.Stored++
		f.all.Append.add(int64(took))
	case errors.Is(err, ErrConflict):
		f.all.Conflicts++
	case errors.Is(err, ErrFull):
		f.all.Full++
	case errors.Is(err, ErrUnknown):
		f.all.Unknown++
	}
}

// synced counts a sync and those whom it served.
func (f *figures) synced(served int, took time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.all.Group.add(int64(served))
	f.all.Sync.add(int64(took))
}

// stopwatch begins to measure a time. The journal decides nothing by it.
func stopwatch() func() time.Duration {
	began := time.Now()
	return func() time.Duration { return time.Since(began) }
}

// Figures returns what was counted so far.
func (j *Journal) Figures() Figures {
	j.figures.mu.Lock()
	defer j.figures.mu.Unlock()
	all := j.figures.all
	for _, d := range []*Distribution{&all.Append, &all.Sync, &all.Group} {
		d.Counts = slices.Clone(d.Counts)
	}
	return all
}
