package projections

import (
	"bytes"
	"container/list"

	"bydark/events/journal"
)

// crowd holds the events of jobs while all is folded: as many as may be, those of the jobs whose events came last. A job that was let go and
// then has one more event, or that cannot be folded or written with the others, is late: it is left alone until the end.
type crowd struct {
	most   int // events that are held
	events int
	byJob  map[place]*list.Element
	recent *list.List // of *group, the last used in front
	gone   map[place]bool
	isLate map[place]bool
	late   []place
}

func newCrowd(most int) *crowd {
	return &crowd{most: most, byJob: map[place]*list.Element{}, recent: list.New(), gone: map[place]bool{}, isLate: map[place]bool{}}
}

// add takes in one more event.
func (c *crowd) add(e journal.Entry) {
	p := placeOf(e)
	switch {
	case c.isLate[p]:
		return
	case c.gone[p]:
		c.postpone(p)
		return
	}
	at, ok := c.byJob[p]
	if !ok {
		at = c.recent.PushFront(&group{place: p})
		c.byJob[p] = at
	}
	c.recent.MoveToFront(at)
	g := groupAt(at)
	e.Data = bytes.Clone(e.Data) // what came with it, which is more, need not wait
	g.entries = append(g.entries, e)
	c.events++
}

func groupAt(at *list.Element) *group {
	g, _ := at.Value.(*group) // nothing else is in the list
	return g
}

// postpone leaves a job for the end.
func (c *crowd) postpone(p place) {
	if !c.isLate[p] {
		c.isLate[p] = true
		c.late = append(c.late, p)
	}
}

// surplus takes out jobs when too many events are held, down to three quarters, so that it is worth their writing.
func (c *crowd) surplus() []group {
	if c.events <= c.most {
		return nil
	}
	return c.shrink(c.most - c.most/4)
}

// shrink takes out the jobs that have waited longest, until no more than some events are held. They come in the order in which their last
// events did.
func (c *crowd) shrink(to int) []group {
	var out []group
	for c.events > to {
		at := c.recent.Back()
		g := groupAt(at)
		c.recent.Remove(at)
		delete(c.byJob, g.place)
		c.events -= len(g.entries)
		c.gone[g.place] = true
		out = append(out, *g)
	}
	return out
}
