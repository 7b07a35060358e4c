package cutplan

import "fmt"

// Progress is how far a plan has come while it is searched for.
type Progress struct {
	// Best is the cost of the best plan so far and Bound the proven least cost: new bars, or
	// ten-thousandths of money where the request has prices.
	Best, Bound int64
	Priced      bool
}

// String tells it in a line.
func (p Progress) String() string {
	if p.Priced {
		return fmt.Sprintf("a plan for %s; none costs less than %s", priceText(p.Best), priceText(p.Bound))
	}
	return fmt.Sprintf("a plan with %d new bars; none takes fewer than %d", p.Best, p.Bound)
}

// tell shows what changed since it was last shown, if somebody watches.
func (s *search) tell() {
	now := [2]int64{s.best.cost, s.lower}
	if s.show == nil || now == s.told || s.best.uses == nil {
		return
	}
	s.told = now
	s.show(s.best.cost, min(s.lower, s.best.cost))
}
