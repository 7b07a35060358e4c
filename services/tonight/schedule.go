package tonight

import "slices"

// schedule is a plan in the making: jobs in order, and what they take.
type schedule struct {
	in    *instance
	order []int
	done  []bool
	at    int // minute at which the last job is done
	stock []int64
	worth int64
}

func newSchedule(in *instance) *schedule {
	return &schedule{in: in, done: make([]bool, in.size()), stock: slices.Clone(in.stock)}
}

// closure gives j with all that it still waits for, in order.
func (s *schedule) closure(j int, into []int) []int {
	if s.done[j] || slices.Contains(into, j) {
		return into
	}
	for _, k := range s.in.after[j] {
		into = s.closure(k, into)
	}
	return append(into, j)
}

// fits tells whether the jobs, in this order, may follow; and what they would keep out.
func (s *schedule) fits(jobs []int) (worth int64, minutes int, ok bool) {
	at := s.at
	var used []amount
	for n, j := range jobs {
		at += s.in.minutes[j]
		if at > s.in.limit {
			return 0, 0, false
		}
		for _, k := range s.in.instead[j] {
			if s.done[k] || slices.Contains(jobs[:n], k) {
				return 0, 0, false
			}
		}
		used = append(used, s.in.needs[j]...)
		worth += s.in.worth(j, at)
	}
	for n, u := range used {
		left := s.stock[u.material]
		for _, v := range used[:n+1] {
			if v.material == u.material {
				left -= v.n
			}
		}
		if left < 0 {
			return 0, 0, false
		}
	}
	return worth, at - s.at, true
}

func (s *schedule) add(jobs []int, worth int64, minutes int) {
	for _, j := range jobs {
		s.order = append(s.order, j)
		s.done[j] = true
		for _, a := range s.in.needs[j] {
			s.stock[a.material] -= a.n
		}
	}
	s.at += minutes
	s.worth += worth
}

// key says how good it is to take minutes for worth; more is better.
type key func(worth int64, minutes int) float64

var keys = []key{
	func(worth int64, minutes int) float64 { return float64(worth) / float64(minutes) },
	func(worth int64, _ int) float64 { return float64(worth) },
}

// fill takes, over and over, the job whose closure has the best key, as long as one fits.
// Jobs in barred are not taken.
func (s *schedule) fill(better key, barred func(int) bool) {
	for {
		var best, jobs []int
		var bestWorth int64
		bestMinutes, bestKey := 0, 0.0
		for j := range s.done {
			if s.done[j] || barred != nil && barred(j) {
				continue
			}
			jobs = s.closure(j, jobs[:0])
			if barred != nil && slices.ContainsFunc(jobs, barred) {
				continue
			}
			worth, minutes, ok := s.fits(jobs)
			if !ok || worth <= 0 {
				continue
			}
			if k := better(worth, minutes); best == nil || k > bestKey {
				best, bestWorth, bestMinutes, bestKey = slices.Clone(jobs), worth, minutes, k
			}
		}
		if best == nil {
			return
		}
		s.add(best, bestWorth, bestMinutes)
	}
}

// polish swaps neighbours while that keeps out more and nothing comes before what it
// waits for.
func (s *schedule) polish() {
	for changed := true; changed; {
		changed = false
		at := 0
		for n := 1; n < len(s.order); n++ {
			i, j := s.order[n-1], s.order[n]
			if gain := s.in.swapGain(i, j, at); gain > 0 && !slices.Contains(s.in.after[j], i) {
				s.order[n-1], s.order[n] = j, i
				s.worth += gain
				changed = true
			}
			at += s.in.minutes[s.order[n-1]]
		}
	}
}

// swapGain is what doing j before i, and not i before j, from minute at on gains.
func (in *instance) swapGain(i, j, at int) int64 {
	end := at + in.minutes[i] + in.minutes[j]
	return in.worth(j, at+in.minutes[j]) + in.worth(i, end) - in.worth(i, at+in.minutes[i]) - in.worth(j, end)
}

// greedy is the best of some simple plans: by each key, and for few jobs also with each
// job barred and each job begun with.
func greedy(in *instance) *schedule {
	best := newSchedule(in)
	try := func(s *schedule) {
		s.polish()
		if s.worth > best.worth {
			best = s
		}
	}
	for _, better := range keys {
		s := newSchedule(in)
		s.fill(better, nil)
		try(s)
		if in.size() > mostImproved {
			continue
		}
		for j := range in.size() {
			s := newSchedule(in)
			s.fill(better, func(k int) bool { return k == j })
			try(s)
			s = newSchedule(in)
			jobs := s.closure(j, nil)
			if worth, minutes, ok := s.fits(jobs); ok {
				s.add(jobs, worth, minutes)
				s.fill(better, nil)
				try(s)
			}
		}
	}
	return best
}

// mostImproved is how many jobs a plan is improved of by trying pairs; more take too long.
const mostImproved = 64

// improve takes one or two jobs out of a plan, with what waits for them, and fills up
// without them, as long as that keeps out more.
func improve(best *schedule) *schedule {
	in := best.in
	for again := true; again; {
		again = false
		order := best.order
		for n, a := range order {
			for _, b := range order[n:] {
				s := newSchedule(in)
				barred := func(j int) bool { return j == a || j == b }
				for _, j := range order {
					if barred(j) || slices.ContainsFunc(in.after[j], func(k int) bool { return !s.done[k] }) {
						continue
					}
					done := s.at + in.minutes[j]
					s.add([]int{j}, in.worth(j, done), in.minutes[j])
				}
				s.fill(keys[0], barred)
				s.polish()
				if s.worth > best.worth {
					best, again = s, true
				}
			}
		}
	}
	return best
}

// follow takes the jobs in the order given, each with what it waits for, as far as they
// fit, and fills up the rest.
func follow(in *instance, g *network, path []arc) *schedule {
	s := newSchedule(in)
	for _, a := range path {
		jobs := s.closure(g.job(a), nil)
		if worth, minutes, ok := s.fits(jobs); ok && len(jobs) > 0 && worth > 0 {
			s.add(jobs, worth, minutes)
		}
	}
	s.fill(keys[0], nil)
	s.polish()
	return s
}
