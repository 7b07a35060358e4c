package takeoff

import (
	"cmp"
	"math"
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roof"
)

// match makes strips whose seams meet those of a neighbour on the edge between them.
// Where the two planes' seams stand at unlike distances along the edge, the first seam
// from its low end meets.
func (l *lay) match(r *roof.Roof, neighbour roof.PlaneMark, from string, plan Layout) ([]strip, error) {
	refuse := func(want string) error {
		return &events.Refusal{Code: "no-seams-to-match", Where: "plane " + string(l.p.Mark), Was: string(neighbour), Want: want}
	}
	other, ok := r.Plane(neighbour)
	if !ok {
		return nil, refuse("the mark of another plane of this roof")
	}
	mark, ok := sharedEdge(r, l.p.Mark, neighbour)
	if !ok {
		return nil, refuse("a plane that meets this one at a ridge, hip, valley or break")
	}
	edge, _ := r.Edge(roof.EdgeMark(mark))
	theirs := &lay{p: other, a: l.a, f: frameOf(other), cover: l.cover, least: l.least, cut: l.cut, tried: map[string][]quantity.Length{}}
	theirs.sides = border(r, other, theirs.f)
	theirs.low, theirs.high = width(theirs.sides)
	_, across, _, err := theirs.start(r, Start{From: plan.Starts[neighbour].From}, plan)
	if err != nil {
		return nil, err
	}
	a, b := theirs.f.spot(edge.From), theirs.f.spot(edge.To)
	best, found := math.Inf(1), false
	for _, s := range across {
		for _, u := range [2]float64{s.left, s.right} {
			if t := (u - a.u) / (b.u - a.u); t > 0 && t < best && t <= 1 {
				best, found = t, true
			}
		}
	}
	if !found {
		return nil, refuse("a neighbour with a seam that reaches the edge between them")
	}
	mine, end := l.f.spot(edge.From), l.f.spot(edge.To)
	at := mine.u + best*(end.u-mine.u)
	away := at - l.low
	if from == FromRight {
		away = l.high - at
	}
	first := away - math.Floor(away/l.cover)*l.cover
	if first <= hair {
		first = l.cover
	}
	return cut(l.low, l.high, l.cover, first, from), nil
}

// sharedEdge is the longest edge between two planes; of edges as long the first.
func sharedEdge(r *roof.Roof, a, b roof.PlaneMark) (events.Place, bool) {
	var longest *roof.Edge
	for i := range r.Edges {
		e := &r.Edges[i]
		if len(e.Planes) == 2 && slices.Contains(e.Planes, a) && slices.Contains(e.Planes, b) && a != b &&
			(longest == nil || cmp.Less(longest.Length, e.Length)) {
			longest = e
		}
	}
	if longest == nil {
		return "", false
	}
	return events.Place(longest.Mark), true
}
