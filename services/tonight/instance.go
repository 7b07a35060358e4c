package tonight

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"bydark/events"
)

// Limits of a question. A roof has some tens of candidates; a day has fewer minutes.
const (
	mostCandidates = 1000
	mostMinutes    = 24 * 60
	// mostLitres keeps sums of microlitres far inside an int64.
	mostLitres = 1e9
	// mostAmount of a material, in its smallest unit, keeps sums of amounts inside an int64.
	mostAmount = 1e15
)

// instance is a question in whole numbers: minutes and microlitres, candidates by their
// place in an order in which every job comes after what it waits for. Candidates that no
// plan can hold are left out.
type instance struct {
	from     []int // place in the question
	minutes  []int
	night    []int64 // microlitres
	drip     []int64 // microlitres a minute of rain
	after    [][]int
	before   [][]int // the jobs that wait for it
	instead  [][]int
	needs    [][]amount
	stock    []int64
	limit    int // minutes until the crew leaves
	rain     int // minute at which it begins to rain, limit where it does not
	earliest []int
}

type amount struct {
	material int
	n        int64
}

func (in *instance) size() int { return len(in.minutes) }

// worth is what job j keeps out when it is done at minute done.
func (in *instance) worth(j, done int) int64 {
	return in.night[j] + in.drip[j]*int64(in.limit-max(done, in.rain))
}

// orderFree tells whether the order of the jobs does not change what they keep out.
func (in *instance) orderFree() bool {
	return in.rain >= in.limit || !slices.ContainsFunc(in.drip, func(d int64) bool { return d > 0 })
}

func refuse(code, where, was, want string) error {
	return &events.Refusal{Code: code, Where: where, Was: was, Want: want}
}

// check refuses a question that cannot be, naming the candidate.
func check(q Question) error {
	if len(q.Candidates) > mostCandidates {
		return refuse("too-large", "candidates", fmt.Sprint(len(q.Candidates)), fmt.Sprintf("at most %d", mostCandidates))
	}
	ids := map[string]bool{}
	for _, c := range q.Candidates {
		where := "candidate " + c.ID
		switch {
		case c.ID == "":
			return refuse("unreadable", "candidates", "no id", "an id for each candidate")
		case ids[c.ID]:
			return refuse("doubled", where, c.ID, "each id once")
		case c.Crew <= 0:
			return refuse("out-of-range", where+", crew", c.Crew.String(), "a time above zero")
		case !(c.NightL >= 0 && c.NightL <= mostLitres) || !(c.DripLH >= 0 && c.DripLH <= mostLitres):
			return refuse("out-of-range", where+", litres", fmt.Sprint(c.NightL, c.DripLH), "zero or more litres")
		}
		ids[c.ID] = true
		for _, n := range c.Needs {
			if n.Amount < 0 || n.Amount > mostAmount {
				return refuse("out-of-range", where+", needs "+n.Material, fmt.Sprint(n.Amount), fmt.Sprintf("0 to %.0f", mostAmount))
			}
		}
	}
	for _, c := range q.Candidates {
		for _, other := range slices.Concat(c.After, c.Instead) {
			if !ids[other] || other == c.ID {
				return refuse("unknown", "candidate "+c.ID, other, "the id of another candidate")
			}
		}
	}
	return nil
}

// sorted gives the candidates in an order in which each comes after what it waits for,
// otherwise that of the question; a ring is refused.
func sorted(q Question, place map[string]int) ([]int, error) {
	waits := make([]int, len(q.Candidates))
	frees := make([][]int, len(q.Candidates))
	for n, c := range q.Candidates {
		for _, id := range slices.Compact(slices.Sorted(slices.Values(c.After))) {
			waits[n]++
			frees[place[id]] = append(frees[place[id]], n)
		}
	}
	var order []int
	done := make([]bool, len(q.Candidates))
	for len(order) < len(done) {
		next := -1
		for n := range done {
			if !done[n] && waits[n] == 0 {
				next = n
				break
			}
		}
		if next < 0 {
			n := slices.Index(done, false)
			return nil, refuse("ring", "candidate "+q.Candidates[n].ID+", after", fmt.Sprint(q.Candidates[n].After), "jobs that do not wait for each other")
		}
		done[next] = true
		order = append(order, next)
		for _, n := range frees[next] {
			waits[n]--
		}
	}
	return order, nil
}

// minutesLeft is the whole minutes from now until leaving.
func minutesLeft(q Question) int {
	return int(min(max(0, q.LeaveBy.Sub(q.Now)), mostMinutes*time.Minute) / time.Minute)
}

// prepare makes the instance and tells, by place in the question, why a candidate is
// left out of it.
func prepare(q Question, anyStock bool) (*instance, map[int]Reason, error) {
	place := map[string]int{}
	for n, c := range q.Candidates {
		place[c.ID] = n
	}
	order, err := sorted(q, place)
	if err != nil {
		return nil, nil, err
	}
	in := &instance{limit: minutesLeft(q)}
	in.rain = in.limit
	if !q.RainStart.IsZero() && q.RainStart.Before(q.LeaveBy) {
		in.rain = min(in.limit, int(max(0, q.RainStart.Sub(q.Now))/time.Minute))
	}
	out := map[int]Reason{}
	at := map[string]int{}
	materials := map[string]int{}
	for _, n := range order {
		c := q.Candidates[n]
		if why := in.add(q, n, at, materials, anyStock); why != "" {
			out[n] = why
			continue
		}
		at[c.ID] = in.size() - 1
	}
	in.dropUseless(out)
	in.dropAmple()
	in.link(q)
	return in, out, nil
}

// add appends a candidate, or says why no plan can hold it.
func (in *instance) add(q Question, n int, at, materials map[string]int, anyStock bool) Reason {
	c := q.Candidates[n]
	if c.LeastHeads > q.Heads {
		return NotEnoughHeads
	}
	totals := map[string]int64{}
	for _, need := range c.Needs {
		if need.Amount > math.MaxInt64-totals[need.Material] {
			return NotInStock
		}
		totals[need.Material] += need.Amount
	}
	var needs []amount
	for _, name := range slices.Sorted(maps.Keys(totals)) {
		have := min(q.Stock[name], mostAmount)
		if anyStock || totals[name] == 0 {
			continue
		}
		if totals[name] > have {
			return NotInStock
		}
		m, ok := materials[name]
		if !ok {
			m = len(in.stock)
			materials[name] = m
			in.stock = append(in.stock, have)
		}
		needs = append(needs, amount{m, totals[name]})
	}
	minutes := int((c.Crew + time.Minute - 1) / time.Minute)
	if c.Crew > mostMinutes*time.Minute || minutes > in.limit {
		return NotEnoughTime
	}
	// Everything that it waits for, directly or not, and itself must fit.
	waits := map[int]bool{}
	var after []int
	for _, id := range c.After {
		j, ok := at[id]
		if !ok {
			return Waits
		}
		if !waits[j] {
			after = append(after, j)
		}
		in.gather(j, waits)
	}
	earliest := minutes
	for j := range waits {
		earliest += in.minutes[j]
	}
	if earliest > in.limit {
		return NotEnoughTime
	}
	in.from = append(in.from, n)
	in.minutes = append(in.minutes, minutes)
	in.night = append(in.night, int64(math.Round(c.NightL*1e6)))
	in.drip = append(in.drip, int64(math.Round(c.DripLH*1e6/60)))
	in.after = append(in.after, after)
	in.needs = append(in.needs, needs)
	in.earliest = append(in.earliest, earliest)
	return ""
}

// gather adds j and all that it waits for.
func (in *instance) gather(j int, into map[int]bool) {
	if into[j] {
		return
	}
	into[j] = true
	for _, k := range in.after[j] {
		in.gather(k, into)
	}
}

// dropUseless leaves out jobs that keep nothing out and that no useful job waits for.
func (in *instance) dropUseless(out map[int]Reason) {
	useful := make([]bool, in.size())
	for j := in.size() - 1; j >= 0; j-- {
		useful[j] = useful[j] || in.worth(j, in.earliest[j]) > 0
		if useful[j] {
			for _, k := range in.after[j] {
				useful[k] = true
			}
		}
	}
	moved := make([]int, in.size())
	kept := 0
	for j := range useful {
		if !useful[j] {
			out[in.from[j]] = KeepsNothing
			continue
		}
		moved[j] = kept
		in.from[kept], in.minutes[kept], in.night[kept], in.drip[kept] = in.from[j], in.minutes[j], in.night[j], in.drip[j]
		in.needs[kept], in.earliest[kept] = in.needs[j], in.earliest[j]
		after := in.after[j]
		for i, k := range after {
			after[i] = moved[k]
		}
		in.after[kept] = after
		kept++
	}
	in.from, in.minutes, in.night, in.drip = in.from[:kept], in.minutes[:kept], in.night[:kept], in.drip[:kept]
	in.needs, in.earliest, in.after = in.needs[:kept], in.earliest[:kept], in.after[:kept]
}

// dropAmple leaves out the materials of which there is enough for all jobs together.
func (in *instance) dropAmple() {
	wanted := make([]int64, len(in.stock))
	for _, needs := range in.needs {
		for _, a := range needs {
			wanted[a.material] += a.n
		}
	}
	moved := make([]int, len(in.stock))
	var scarce []int64
	for m, have := range in.stock {
		moved[m] = len(scarce)
		if wanted[m] > have {
			scarce = append(scarce, have)
		}
	}
	for j, needs := range in.needs {
		in.needs[j] = slices.DeleteFunc(needs, func(a amount) bool { return wanted[a.material] <= in.stock[a.material] })
		for i := range in.needs[j] {
			in.needs[j][i].material = moved[in.needs[j][i].material]
		}
	}
	in.stock = scarce
}

// link fills in what looks back: who waits for a job, and what excludes what.
func (in *instance) link(q Question) {
	n := in.size()
	in.before, in.instead = make([][]int, n), make([][]int, n)
	at := map[string]int{}
	for j := range n {
		at[q.Candidates[in.from[j]].ID] = j
	}
	for j := range n {
		for _, k := range in.after[j] {
			in.before[k] = append(in.before[k], j)
		}
		for _, id := range q.Candidates[in.from[j]].Instead {
			if k, ok := at[id]; ok {
				in.instead[j] = append(in.instead[j], k)
				in.instead[k] = append(in.instead[k], j)
			}
		}
	}
	for j := range n {
		slices.Sort(in.instead[j])
		in.instead[j] = slices.Compact(in.instead[j])
	}
}
