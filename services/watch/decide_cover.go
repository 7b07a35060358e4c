package watch

import (
	"fmt"
	"slices"
	"time"

	"bydark/events"
	"bydark/services/roofjob"
)

// cover tells the last moment to start covering, shortly before it comes, while what is open
// would let in enough to be warned of: from then on all hangs on the plan being kept to. It
// is told to a crew at work in quiet hours too; to nobody else then.
func (c *call) cover() (Decision, bool) {
	switch _, quiet := c.quiet(); {
	case c.CoverBy.IsZero(), c.now.Before(c.CoverBy.Add(-c.Notice)), !c.now.Before(c.LeaveBy), quiet && !c.Crew:
		return Decision{}, false
	case len(c.nobodys()) == 0, litres(c.Open) < c.From, !c.coverMoved():
		return Decision{}, false
	}
	counted := c.counted(c.Standing, c.now)
	return c.warn(events.Cover, ladder[0], counted, c.sum(), c.coverWords(counted)), true
}

// coverMoved tells whether that moment is another than was told: far enough from the last
// telling and, when it came later, later than every telling. One that wavers is therefore not
// told for ever, and the earlier one stands, which errs towards covering. Nor is one that has
// passed, as the last that was told has: while it rains it falls ever further behind.
func (c *call) coverMoved() bool {
	rested := !c.now.Before(c.coverAt.Add(c.Gap))
	if len(c.covers) == 0 {
		return rested
	}
	last := c.covers[len(c.covers)-1]
	switch {
	case last.Before(c.now) && c.CoverBy.Before(c.now):
		return false
	case !c.CoverBy.After(last.Add(-c.Moves)):
		return true
	}
	return rested && !slices.ContainsFunc(c.covers, func(was time.Time) bool { return c.CoverBy.Before(was.Add(c.Moves)) })
}

// coverWords is why the last moment to start covering is told.
func (c *call) coverWords(left []Place) string {
	if !c.CoverEnd.After(c.now) {
		return fmt.Sprintf("Rain is forecast from now on, and covering what is open (%s) takes %s: cover first what lets most in. %s.", list(marks(c.Open)), span(c.CoverEnd.Sub(c.CoverBy)), c.leftWords())
	}
	by := "by leave-by " + c.at(c.CoverEnd)
	if c.CoverEnd.Before(c.LeaveBy) {
		by = "by " + c.at(c.CoverEnd) + ", when rain is forecast"
	}
	verb := "has"
	var then string
	wet := slices.DeleteFunc(slices.Clone(left), func(p Place) bool { return p.IfRain == 0 })
	switch {
	case c.now.After(c.CoverBy):
		verb, then = "had", ": cover first what lets most in"
	case !c.Crew:
		then = ", and no day is under way"
	case len(wet) == 0:
		then = fmt.Sprintf("; the plan closes all of it in the %d minutes left, but from then on only if it is kept to", c.MinutesLeft)
	default:
		then = fmt.Sprintf("; in the %d minutes left the plan does not close %s%s", c.MinutesLeft, list(marks(wet)), reasons(wet))
	}
	return fmt.Sprintf("Covering what is open (%s) takes %s and %s to begin by %s to be done %s%s. %s.",
		list(marks(c.Open)), span(c.CoverEnd.Sub(c.CoverBy)), verb, c.at(c.CoverBy), by, then, c.leftWords())
}

// leftWords is what gets in where nothing is covered.
func (c *call) leftWords() string {
	return fmt.Sprintf("Left open, %s; a cover keeps out about %d %% of that%s", c.wet(c.Open, nil), roofjob.CoverSharePct, c.besides(c.Under))
}
