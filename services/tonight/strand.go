package tonight

import "math"

// strand is a network with what its arcs add to a path at the present prices.
type strand struct {
	*network
	net []int64 // what is added to an arc's worth, by slot; nothing for a skip
	// rest is the most that can be had from a node on, and pick the arc it starts with
	// (−1: none).
	rest      []int64
	pick      []int32
	sofar     []int64
	steps     int // arcs gone over, as a measure of work done
	split     splitter
	alias, id []int32 // room for shrink
	reached   []bool
}

func newStrand(g *network) *strand { return &strand{network: g, net: make([]int64, g.none+1)} }

// gain is what an arc adds to a path.
func (s *strand) gain(a *arc) int64 { return a.worth + s.net[a.slot] }

// solve finds the longest path; it is as long as rest[0].
func (s *strand) solve() {
	n := s.nodes()
	s.rest, s.pick = resize(s.rest, n), resize(s.pick, n)
	s.steps += len(s.arcs)
	rest, net := s.rest, s.net
	end := s.first[n]
	for v := n - 1; v >= 0; v-- {
		begin := s.first[v]
		best, pick := int64(0), int32(-1)
		for i, a := range s.arcs[begin:end] {
			if w := a.worth + net[a.slot] + rest[a.to]; w > best {
				best, pick = w, begin+int32(i)
			}
		}
		rest[v], s.pick[v] = best, pick
		end = begin
	}
}

func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2)
	}
	return s[:n]
}

// path is the longest path's arcs, without the skips.
func (s *strand) path(into []arc) []arc {
	into = into[:0]
	for v := int32(0); ; {
		i := s.pick[v]
		if i < 0 {
			return into
		}
		a := s.arcs[i]
		if a.slot != s.none {
			into = append(into, a)
		}
		v = a.to
	}
}

const never = math.MinInt64 / 2

// prune drops the arcs through which no path is longer than worth. It needs rest, and leaves
// it right.
func (s *strand) prune(worth int64) {
	n := s.nodes()
	s.sofar = resize(s.sofar, n)
	s.steps += 2 * len(s.arcs)
	for v := range s.sofar {
		s.sofar[v] = never
	}
	s.sofar[0] = 0
	kept, from := int32(0), s.first[0]
	for v := range n {
		to := s.first[v+1]
		begin := kept
		if at := s.sofar[v]; at != never {
			for _, a := range s.arcs[from:to] {
				w := at + s.gain(&a)
				if w+s.rest[a.to] > worth {
					s.arcs[kept] = a
					kept++
					s.sofar[a.to] = max(s.sofar[a.to], w)
				}
			}
		}
		s.first[v], from = begin, to
	}
	s.first[n] = kept
	s.shrink(kept)
	s.solve()
}

// shrink leaves out the nodes that no arc leads to, and those at which there is nothing to
// choose: the only arc skips, or there is none.
func (s *strand) shrink(end int32) {
	n := s.nodes()
	const nothing = -1
	// The node in whose place it is, or nothing.
	s.alias = resize(s.alias, n)
	alias := s.alias
	for v := n - 1; v >= 0; v-- {
		begin := s.first[v]
		jobs, skips, only := false, 0, int32(nothing)
		for _, a := range s.arcs[begin:end] {
			if a.slot != s.none {
				jobs = true
			} else if alias[a.to] != nothing {
				skips++
				only = alias[a.to]
			}
		}
		if alias[v] = only; jobs || skips > 1 {
			alias[v] = int32(v)
		}
		end = begin
	}
	if alias[0] == nothing {
		s.first, s.arcs = append(s.first[:0], 0, 0), s.arcs[:0]
		return
	}
	// The nodes in their order, from the start's own on; the last is where paths end.
	s.id, s.reached = resize(s.id, n), resize(s.reached, n)
	id, reached := s.id, s.reached
	clear(reached)
	reached[alias[0]] = true
	count := int32(0)
	for v := int(alias[0]); v < n; v++ {
		if !reached[v] {
			continue
		}
		id[v] = count
		count++
		for _, a := range s.of(v) {
			if to := alias[a.to]; to != nothing {
				reached[to] = true
			}
		}
	}
	kept, at := int32(0), int32(0)
	for v := int(alias[0]); v < n; v++ {
		if !reached[v] {
			continue
		}
		from, to := s.first[v], s.first[v+1]
		s.first[at] = kept
		at++
		for _, a := range s.arcs[from:to] {
			switch next := alias[a.to]; {
			case next != nothing:
				a.to = id[next]
			case a.slot == s.none:
				continue
			default:
				a.to = count
			}
			s.arcs[kept] = a
			kept++
		}
	}
	s.first = append(s.first[:at], kept, kept)
	s.arcs = s.arcs[:kept]
}
