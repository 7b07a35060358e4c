package facade

import (
	"context"
	"runtime"
	"time"
)

// reckoning lets few dear calculations of one kind run at once, so that fifty who ask
// for cut plans do not take the processors from those who report. The others wait their
// turn; each calculation has a limit of its own, and says when it proves nothing.
type reckoning chan struct{}

// patience is how long a calculation waits for its turn before it is turned away.
const patience = 10 * time.Second

// newReckoning leaves half of the processors to everybody else.
func newReckoning() reckoning { return make(reckoning, max(1, runtime.GOMAXPROCS(0)/2)) }

// enter waits for a turn; done ends it. Fails with errBusy, or as the context ends.
func (r reckoning) enter(ctx context.Context) (done func(), err error) {
	wait := time.NewTimer(patience)
	defer wait.Stop()
	select {
	case r <- struct{}{}:
		return func() { <-r }, nil
	case <-wait.C:
		return nil, errBusy
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}
