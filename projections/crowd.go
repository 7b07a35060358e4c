package projections

import (
	"container/list"

	"bydark/events/journal"
)

// crowd holds the states of jobs while all is folded: as many as may be, those whose events came last. A job that was let go and then has
// one more event, or that cannot be folded or written with the others, is late: it is left alone until the end.
type crowd[S any] struct {
	most   int // events in the states that are held
	events int
	byJob  map[place]*list.Element
	recent *list.List // of *member[S], the last used in front
	gone   map[place]bool
	isLate map[place]bool
	late   []place
}

// member is a job's state and how many events are in it.
type member[S any] struct {
	folded folded[S]
	events int
}

func newCrowd[S any](most int) *crowd[S] {
	return &crowd[S]{most: most, byJob: map[place]*list.Element{}, recent: list.New(), gone: map[place]bool{}, isLate: map[place]bool{}}
}

// fold brings one more event into its job's state.
func (c *crowd[S]) fold(r *Runner[S], e journal.Entry) {
	p := placeOf(e)
	if c.isLate[p] {
		return
	}
	if c.gone[p] {
		c.postpone(p)
		return
	}
	at, ok := c.byJob[p]
	if !ok {
		at = c.recent.PushFront(&member[S]{folded: r.unfoldedJob(p, true)})
		c.byJob[p] = at
	}
	c.recent.MoveToFront(at)
	m := c.memberAt(at)
	next, err := r.apply(m.folded, e)
	if err != nil {
		c.postpone(p)
		return
	}
	m.folded = next
	m.events++
	c.events++
}

func (c *crowd[S]) memberAt(at *list.Element) *member[S] {
	m, _ := at.Value.(*member[S]) // nothing else is in the list
	return m
}

// postpone leaves a job for the end.
func (c *crowd[S]) postpone(p place) {
	c.drop(p)
	if !c.isLate[p] {
		c.isLate[p] = true
		c.late = append(c.late, p)
	}
}

func (c *crowd[S]) drop(p place) {
	if at, ok := c.byJob[p]; ok {
		c.events -= c.memberAt(at).events
		c.recent.Remove(at)
		delete(c.byJob, p)
	}
}

// surplus takes out the states that are too many, for the views to write.
func (c *crowd[S]) surplus() []folded[S] {
	var out []folded[S]
	for c.events > c.most {
		f := c.memberAt(c.recent.Back()).folded
		c.drop(f.place)
		c.gone[f.place] = true
		out = append(out, f)
	}
	return out
}

// all are the states that are held, the last used at the end.
func (c *crowd[S]) all() []folded[S] {
	all := make([]folded[S], 0, c.recent.Len())
	for at := c.recent.Back(); at != nil; at = at.Prev() {
		all = append(all, c.memberAt(at).folded)
	}
	return all
}

// leave hands the states that are held on to who follows the log from here.
func (c *crowd[S]) leave(to *states[S]) {
	for _, f := range c.all() {
		to.put(f)
	}
}
