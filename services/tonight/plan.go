package tonight

import (
	"maps"
	"slices"
	"time"
)

// Plan answers the question: the jobs, in order, that keep the most water out in the
// minutes left. Within the usual effort forty candidates are proven best on most days (the
// benchmark tells on which); Proven says so, and BoundL is what no plan exceeds either way.
//
// A question that cannot be (an id twice, a job that waits for an unknown one or for
// itself in a ring, a time or amount below zero) is an *events.Refusal. No time left, no
// heads or no candidates is an answer without jobs.
func Plan(q Question) (Answer, error) {
	if err := check(q); err != nil {
		return Answer{}, err
	}
	if q.Effort <= 0 {
		q.Effort = Usual
	}
	in, out, err := prepare(q, false)
	if err != nil {
		return Answer{}, err
	}
	best, bound, proven := solve(in, q.Effort)
	a := Answer{MinutesLeft: minutesLeft(q), Proven: proven}
	best = tidy(best)
	a.KeepsOutL, a.BoundL = litres(best.worth), litres(bound)
	at := 0
	chosen := map[string]bool{}
	for _, j := range best.order {
		start := at
		at += in.minutes[j]
		id := q.Candidates[in.from[j]].ID
		chosen[id] = true
		a.Chosen = append(a.Chosen, Job{ID: id, Start: minute(q, start), Done: minute(q, at), KeepsOutL: litres(in.worth(j, at))})
	}
	a.Left = left(q, in, out, chosen)
	a.CoverBy = coverBy(q)
	if len(in.stock) > 0 || slices.Contains(slices.Collect(maps.Values(out)), NotInStock) {
		if err := a.fetch(q, best.worth); err != nil {
			return Answer{}, err
		}
	}
	return a, nil
}

// Rounds of prices: at first, with the choice, and after each guard.
const firstRounds, choiceRounds, guardRounds = 40, 250, 20

// mostArcs bounds the network, for the sake of memory.
const mostArcs = 500_000

// solve gives the best plan found, a bound on all plans, and whether they meet.
func solve(in *instance, effort int) (*schedule, int64, bool) {
	best := greedy(in)
	if in.size() == 0 || in.limit == 0 {
		return best, 0, true
	}
	if in.size() <= mostImproved {
		best = improve(best)
	}
	r := newRelaxed(in, effort)
	best = r.tighten(best, firstRounds)
	if r.bound() > best.worth {
		r.decompose()
		best = r.tighten(best, choiceRounds)
	}
	if r.bound() > best.worth {
		best = newBeam(r).run(best)
		var proven bool
		if best, proven = r.walk(best); proven {
			return best, best.worth, true
		}
		r.pruneAll(best.worth)
	}
	for r.bound() > best.worth && !r.tired() && len(r.arcs) <= mostArcs {
		w := r.worst()
		if w < 0 {
			break
		}
		r.guard(w, best.worth)
		best = r.tighten(best, guardRounds)
	}
	return best, max(r.bound(), best.worth), r.bound() <= best.worth
}

// tidy leaves out jobs that keep nothing out and that nothing chosen waits for, and where
// the order does not matter puts first what keeps out most for its minutes: whoever is
// stopped early has then done most.
func tidy(s *schedule) *schedule {
	in := s.in
	wanted := make([]bool, in.size())
	at := s.at
	for _, j := range slices.Backward(s.order) {
		wanted[j] = wanted[j] || in.worth(j, at) > 0
		at -= in.minutes[j]
		if wanted[j] {
			for _, k := range in.after[j] {
				wanted[k] = true
			}
		}
	}
	order := slices.DeleteFunc(slices.Clone(s.order), func(j int) bool { return !wanted[j] })
	t := newSchedule(in)
	if in.orderFree() {
		t.fill(keys[0], func(j int) bool { return !wanted[j] })
		if len(t.order) == len(order) {
			return t
		}
		t = newSchedule(in)
	}
	for _, j := range order {
		done := t.at + in.minutes[j]
		t.add([]int{j}, in.worth(j, done), in.minutes[j])
	}
	return t
}

// left tells, in the order of the question, why each candidate is not chosen.
func left(q Question, in *instance, out map[int]Reason, chosen map[string]bool) []Left {
	var all []Left
	place := map[string]int{}
	for n, c := range q.Candidates {
		place[c.ID] = n
	}
	replaced := map[string]bool{}
	for _, c := range q.Candidates {
		for _, id := range c.Instead {
			if chosen[c.ID] {
				replaced[id] = true
			}
			if chosen[id] {
				replaced[c.ID] = true
			}
		}
	}
	wet := q.LeaveBy.Sub(minute(q, in.rain)).Hours()
	for n, c := range q.Candidates {
		if chosen[c.ID] {
			continue
		}
		l := Left{ID: c.ID, Why: Outbid, LetsIn: c.NightL + c.DripLH*max(0, wet)}
		switch why, isOut := out[n]; {
		case isOut:
			l.Why = why
		case replaced[c.ID]:
			l.Why = Replaced
		case slices.ContainsFunc(c.After, func(id string) bool { return !chosen[id] }):
			l.Why = Waits
			// What it waits for could have been done with it; then time was short.
			if _, gone := out[place[c.After[0]]]; !gone {
				l.Why = Outbid
			}
		}
		all = append(all, l)
	}
	return all
}

// coverBy is the last moment to begin with the covers, those for which there are heads: it
// may have passed.
func coverBy(q Question) time.Time {
	total := time.Duration(0)
	for _, c := range q.Candidates {
		if c.Cover && c.LeastHeads <= q.Heads {
			total += (c.Crew + time.Minute - 1).Truncate(time.Minute)
		}
	}
	if total == 0 {
		return time.Time{}
	}
	return q.CoverEnd().Add(-total)
}

// CoverEnd is when covers are to be on: LeaveBy, or the rain that is forecast before it.
func (q Question) CoverEnd() time.Time {
	if !q.RainStart.IsZero() && !q.RainAssumed && q.RainStart.Before(q.LeaveBy) {
		return q.RainStart
	}
	return q.LeaveBy
}

// fetch asks the question again with everything at hand, and tells what that plan lacks.
func (a *Answer) fetch(q Question, worth int64) error {
	in, _, err := prepare(q, true)
	if err != nil {
		return err
	}
	best, _, _ := solve(in, q.Effort/8)
	if best.worth <= worth {
		return nil
	}
	needs := map[string]int64{}
	for _, j := range tidy(best).order {
		for _, n := range q.Candidates[in.from[j]].Needs {
			needs[n.Material] += n.Amount
		}
	}
	for _, m := range slices.Sorted(maps.Keys(needs)) {
		if lack := needs[m] - q.Stock[m]; lack > 0 {
			a.Fetch = append(a.Fetch, Need{m, lack})
		}
	}
	a.FetchGainL = litres(best.worth - worth)
	return nil
}

func minute(q Question, m int) time.Time { return q.Now.Add(time.Duration(m) * time.Minute) }

func litres(micro int64) float64 { return float64(micro) / 1e6 }
