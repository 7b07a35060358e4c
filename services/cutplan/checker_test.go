package cutplan

import "fmt"

// inspect is the independent checker: it knows only the request and the answer. All pieces are there and no other, no bar
// is over-full with a kerf between neighbours, no more bars than there are, the numbers say what the bars say.
func inspect(req Request, a *Answer) error {
	want := map[string]int64{}
	length := map[string]int64{}
	for _, p := range req.Pieces {
		m := p.Mark
		if m == "" {
			m = Measure{p.Length, req.Plain}.String()
		}
		want[m] += p.Count
		length[m] = p.Length
	}
	stockLength, counts := map[string]int64{}, map[string]int64{}
	for _, s := range req.Stock {
		id := s.ID
		if id == "" {
			id = Measure{s.Length, req.Plain}.String()
		}
		stockLength[id] = s.Length
		counts[id] = 1 << 60
		if s.Count != nil {
			counts[id] = *s.Count
		}
	}
	for n, b := range a.Bars {
		room, ok := stockLength[b.Stock]
		if !ok {
			return fmt.Errorf("bar %d: unknown stock %q", n, b.Stock)
		}
		if counts[b.Stock]--; counts[b.Stock] < 0 {
			return fmt.Errorf("bar %d: more of %q than there are", n, b.Stock)
		}
		if len(b.Pieces) == 0 {
			return fmt.Errorf("bar %d: empty", n)
		}
		for k, m := range b.Pieces {
			if k > 0 {
				room -= req.Kerf
			}
			room -= length[m]
			want[m]--
		}
		if room < 0 {
			return fmt.Errorf("bar %d: over-full by %d", n, -room)
		}
		if b.Offcut.N != max(0, room-req.Kerf) {
			return fmt.Errorf("bar %d: offcut %d, want %d", n, b.Offcut.N, max(0, room-req.Kerf))
		}
	}
	for m, n := range want {
		if n != 0 {
			return fmt.Errorf("piece %s: %d missing", m, n)
		}
	}
	switch {
	case a.Used != int64(len(a.Bars)):
		return fmt.Errorf("used %d, bars %d", a.Used, len(a.Bars))
	case a.LowerBound > a.Used || a.Proven && a.LowerBound != a.Used:
		return fmt.Errorf("used %d, lower bound %d, proven %v", a.Used, a.LowerBound, a.Proven)
	}
	return nil
}
