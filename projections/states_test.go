package projections

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The states in memory beside a dumb twin: a list in the order of use.
func TestStatesBesideTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := rapid.IntRange(1, 4).Draw(t, "limit")
		s := newStates[int](limit)
		var twin []folded[int]
		for i := range rapid.IntRange(1, 40).Draw(t, "steps") {
			p := place{"acme", fmt.Sprint("j", rapid.IntRange(0, 5).Draw(t, "job"))}
			at := slices.IndexFunc(twin, func(f folded[int]) bool { return f.place == p })
			if rapid.Bool().Draw(t, "put") {
				s.put(folded[int]{place: p, state: i})
				if at >= 0 {
					twin = slices.Delete(twin, at, at+1)
				}
				if twin = append(twin, folded[int]{place: p, state: i}); len(twin) > limit {
					twin = twin[1:]
				}
				continue
			}
			f, ok := s.take(p)
			if ok != (at >= 0) || ok && f.state != twin[at].state {
				t.Fatalf("step %d: take gives %v, %v; the twin has %v", i, f, ok, twin)
			}
			if ok {
				twin = slices.Delete(twin, at, at+1)
			}
		}
		if s.recent.Len() != len(twin) || len(s.byJob) != len(twin) {
			t.Fatalf("%d states are kept, the twin has %d", s.recent.Len(), len(twin))
		}
	})
}
