package tonight

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

var two = time.Date(2026, 3, 4, 14, 0, 0, 0, time.UTC)

// dice draws the numbers of a random question; rapid and a seeded generator both do.
type dice func(lo, hi int) int

// anyQuestion draws a question with everything in it: chains, covers, stock, heads, rain
// before dark or not.
func anyQuestion(d dice, n, minutes int) Question {
	q := Question{Now: two, LeaveBy: two.Add(time.Duration(min(minutes, d(0, 2*minutes))) * time.Minute), Heads: d(1, 4), Stock: map[string]int64{}}
	for m := range 3 {
		q.Stock[fmt.Sprint("m", m)] = int64(d(0, 12))
	}
	switch d(0, 3) {
	case 0: // dry
	case 1: // it rains already
		q.RainStart = two.Add(-time.Hour)
	default:
		q.RainStart = two.Add(time.Duration(d(0, minutes+60)) * time.Minute)
	}
	for i := range n {
		c := Candidate{ID: fmt.Sprint("c", i), Crew: time.Duration(d(1, max(1, minutes/3))) * time.Minute, LeastHeads: max(0, d(-9, 5)),
			NightL: float64(d(0, 4)*d(0, 30)) / 2, DripLH: float64(d(0, 3) * d(0, 12))}
		if d(0, 3) == 0 {
			c.Needs = append(c.Needs, Need{fmt.Sprint("m", d(0, 2)), int64(d(0, 8))})
		}
		if i > 0 && d(0, 2) == 0 {
			c.After = append(c.After, fmt.Sprint("c", d(0, i-1)))
		}
		if i > 0 && d(0, 3) == 0 {
			c.Cover = true
			if other := fmt.Sprint("c", d(0, i-1)); !slices.Contains(c.After, other) {
				c.Instead = append(c.Instead, other)
			}
		}
		q.Candidates = append(q.Candidates, c)
	}
	// The order of the question must not lean on that of the chains.
	for i := range q.Candidates {
		k := d(0, i)
		q.Candidates[i], q.Candidates[k] = q.Candidates[k], q.Candidates[i]
	}
	return q
}

// keepsOut walks a plan by the rules in their plain words, sharing nothing with the
// planner: what it keeps out in microlitres, or which rule it breaks.
func keepsOut(q Question, ids []string) (int64, error) {
	byID := map[string]Candidate{}
	for _, c := range q.Candidates {
		byID[c.ID] = c
	}
	limit := int(max(0, q.LeaveBy.Sub(q.Now)) / time.Minute)
	rain := limit
	if !q.RainStart.IsZero() && q.RainStart.Before(q.LeaveBy) {
		rain = min(limit, int(max(0, q.RainStart.Sub(q.Now))/time.Minute))
	}
	used := map[string]int64{}
	done := map[string]bool{}
	at, total := 0, int64(0)
	for _, id := range ids {
		c, ok := byID[id]
		if !ok || done[id] {
			return 0, fmt.Errorf("%s is unknown or done twice", id)
		}
		if c.LeastHeads > q.Heads {
			return 0, fmt.Errorf("%s takes %d heads of %d", id, c.LeastHeads, q.Heads)
		}
		for _, a := range c.After {
			if !done[a] {
				return 0, fmt.Errorf("%s before %s", id, a)
			}
		}
		for other := range done {
			if slices.Contains(c.Instead, other) || slices.Contains(byID[other].Instead, id) {
				return 0, fmt.Errorf("%s beside %s", id, other)
			}
		}
		for _, n := range c.Needs {
			if used[n.Material] += n.Amount; used[n.Material] > q.Stock[n.Material] {
				return 0, fmt.Errorf("%s takes more %s than there is", id, n.Material)
			}
		}
		at += int(math.Ceil(c.Crew.Minutes()))
		if at > limit {
			return 0, fmt.Errorf("%s is done at minute %d of %d", id, at, limit)
		}
		done[id] = true
		total += int64(math.Round(c.NightL*1e6)) + int64(math.Round(c.DripLH*1e6/60))*int64(limit-max(at, rain))
	}
	return total, nil
}

// bruteForce tries every order of every subset, one job after another.
type bruteForce struct {
	q           Question
	place       map[string]int
	limit, rain int
	done        []bool
	used        map[string]int64
	best        int64
}

func newBruteForce(q Question) *bruteForce {
	b := &bruteForce{q: q, place: map[string]int{}, limit: int(max(0, q.LeaveBy.Sub(q.Now)) / time.Minute), used: map[string]int64{}, done: make([]bool, len(q.Candidates))}
	b.rain = b.limit
	if !q.RainStart.IsZero() {
		b.rain = min(b.limit, int(max(0, q.RainStart.Sub(q.Now))/time.Minute))
	}
	for n, c := range q.Candidates {
		b.place[c.ID] = n
	}
	return b
}

func (b *bruteForce) may(n int) bool {
	c := b.q.Candidates[n]
	for _, id := range c.After {
		if !b.done[b.place[id]] {
			return false
		}
	}
	for m, other := range b.q.Candidates {
		if b.done[m] && (slices.Contains(c.Instead, other.ID) || slices.Contains(other.Instead, c.ID)) {
			return false
		}
	}
	for _, need := range c.Needs {
		if b.used[need.Material]+need.Amount > b.q.Stock[need.Material] {
			return false
		}
	}
	return !b.done[n] && c.LeastHeads <= b.q.Heads
}

func (b *bruteForce) walk(at int, worth int64) {
	b.best = max(b.best, worth)
	for n, c := range b.q.Candidates {
		done := at + int(c.Crew/time.Minute)
		if done > b.limit || !b.may(n) {
			continue
		}
		for _, need := range c.Needs {
			b.used[need.Material] += need.Amount
		}
		b.done[n] = true
		b.walk(done, worth+int64(math.Round(c.NightL*1e6))+int64(math.Round(c.DripLH*1e6/60))*int64(b.limit-max(done, b.rain)))
		b.done[n] = false
		for _, need := range c.Needs {
			b.used[need.Material] -= need.Amount
		}
	}
}

func idsOf(a Answer) []string {
	var ids []string
	for _, j := range a.Chosen {
		ids = append(ids, j.ID)
	}
	return ids
}

// holds checks everything that an answer says of itself.
func holds(q Question, a Answer) error {
	v, err := keepsOut(q, idsOf(a))
	if err != nil {
		return err
	}
	if math.Abs(float64(v)/1e6-a.KeepsOutL) > 1e-9 {
		return fmt.Errorf("it says %g l and keeps out %d µl", a.KeepsOutL, v)
	}
	sum, at := 0.0, q.Now
	for _, j := range a.Chosen {
		if !j.Start.Equal(at) || !j.Done.After(at) {
			return fmt.Errorf("%s from %s to %s, the one before ends %s", j.ID, j.Start, j.Done, at)
		}
		at = j.Done
		sum += j.KeepsOutL
	}
	switch {
	case math.Abs(sum-a.KeepsOutL) > 1e-6:
		return fmt.Errorf("the jobs keep out %g of %g", sum, a.KeepsOutL)
	case len(a.Chosen) > 0 && at.After(q.LeaveBy):
		return fmt.Errorf("the last is done at %s, after %s", at, q.LeaveBy)
	case a.BoundL < a.KeepsOutL, a.Proven && a.BoundL != a.KeepsOutL:
		return fmt.Errorf("bound %g, plan %g, proven %v", a.BoundL, a.KeepsOutL, a.Proven)
	case len(a.Chosen)+len(a.Left) != len(q.Candidates):
		return fmt.Errorf("%d chosen and %d left of %d", len(a.Chosen), len(a.Left), len(q.Candidates))
	}
	return nil
}

// Two thousand questions of up to nine candidates against every order of every subset.
func TestPlanEqualsBruteForce(t *testing.T) {
	const seed = 20260304
	t.Logf("seed %d", seed)
	g := rand.New(rand.NewPCG(seed, 1))
	d := func(lo, hi int) int { return lo + g.IntN(hi-lo+1) }
	chosen := 0
	for n := range 2000 {
		q := anyQuestion(d, d(0, 9), 90)
		a, err := Plan(q)
		if err != nil {
			t.Fatalf("question %d: %v", n, err)
		}
		if err := holds(q, a); err != nil {
			t.Fatalf("question %d: %v\n%+v\n%+v", n, err, q, a)
		}
		twin := newBruteForce(q)
		twin.walk(0, 0)
		want := twin.best
		if got, _ := keepsOut(q, idsOf(a)); got != want || !a.Proven {
			t.Fatalf("question %d: %d µl, best is %d, proven %v\n%+v\n%+v", n, got, want, a.Proven, q, a)
		}
		chosen += len(a.Chosen)
	}
	t.Logf("%d jobs chosen in all", chosen)
	if chosen < 3000 {
		t.Error("the questions are too easy: hardly anything is chosen")
	}
}

// What cannot be is refused, and the refusal names the candidate.
func TestPlanRefuses(t *testing.T) {
	ok := Candidate{ID: "a", Crew: time.Minute, NightL: 1}
	with := func(change func(*Candidate)) []Candidate { c := ok; change(&c); return []Candidate{c} }
	for _, c := range []struct {
		what string
		all  []Candidate
	}{
		{"no id", with(func(c *Candidate) { c.ID = "" })},
		{"an id twice", []Candidate{ok, ok}},
		{"no time", with(func(c *Candidate) { c.Crew = 0 })},
		{"litres below zero", with(func(c *Candidate) { c.NightL = -1 })},
		{"litres that are no number", with(func(c *Candidate) { c.DripLH = math.NaN() })},
		{"a need below zero", with(func(c *Candidate) { c.Needs = []Need{{"x", -1}} })},
		{"waits for itself", with(func(c *Candidate) { c.After = []string{"a"} })},
		{"waits for nobody", with(func(c *Candidate) { c.After = []string{"b"} })},
		{"instead of nobody", with(func(c *Candidate) { c.Instead = []string{"b"} })},
		{"a ring", []Candidate{{ID: "a", Crew: 1, After: []string{"b"}}, {ID: "b", Crew: 1, After: []string{"a"}}}},
		{"too many", make([]Candidate, mostCandidates+1)},
	} {
		if a, err := Plan(Question{Now: two, LeaveBy: two.Add(time.Hour), Candidates: c.all}); err == nil {
			t.Errorf("%s: %+v", c.what, a)
		}
	}
}

// Small questions whose answers a person sees at once.
func TestPlanByHand(t *testing.T) {
	hour := two.Add(time.Hour)
	edge := func(id string, minutes int, night, drip float64) Candidate {
		return Candidate{ID: id, Crew: time.Duration(minutes) * time.Minute, NightL: night, DripLH: drip}
	}
	tarp := edge("tarp", 10, 80, 8)
	tarp.Cover, tarp.Instead = true, []string{"ridge"}
	taped := edge("valley", 30, 90, 9)
	taped.Needs = []Need{{"tape", 40}}
	crane := edge("hip", 10, 50, 5)
	crane.LeastHeads = 3
	for _, c := range []struct {
		what string
		q    Question
		want string
		left string
	}{
		{"no time", Question{Now: hour, LeaveBy: two, Candidates: []Candidate{edge("ridge", 5, 9, 0)}}, "[]", "ridge: not enough time"},
		{"nobody asked", Question{Now: two, LeaveBy: hour}, "[]", ""},
		{"what keeps out most first", Question{Now: two, LeaveBy: hour, Candidates: []Candidate{edge("eave", 20, 10, 1), edge("ridge", 20, 90, 9)}}, "[ridge eave]", ""},
		{"it rains already: what drips most goes first", Question{Now: two, LeaveBy: hour, RainStart: two, Candidates: []Candidate{edge("slow", 20, 90, 1), edge("fast", 20, 20, 60)}}, "[fast slow]", ""},
		{"the cover where closing takes too long", Question{Now: two, LeaveBy: hour, Candidates: []Candidate{edge("ridge", 55, 100, 10), tarp, edge("eave", 45, 60, 6)}}, "[tarp eave]", "ridge: something else is done instead"},
		{"no tape", Question{Now: two, LeaveBy: hour, Stock: map[string]int64{"tape": 39}, Candidates: []Candidate{taped}}, "[]", "valley: not in stock"},
		{"too few heads", Question{Now: two, LeaveBy: hour, Heads: 2, Candidates: []Candidate{crane}}, "[]", "hip: not enough heads"},
		{"nothing to gain", Question{Now: two, LeaveBy: hour, Candidates: []Candidate{edge("done", 5, 0, 0)}}, "[]", "done: it keeps nothing out"},
	} {
		a, err := Plan(c.q)
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		left := ""
		for _, l := range a.Left {
			left += l.ID + ": " + string(l.Why)
		}
		if got := fmt.Sprint(idsOf(a)); c.want == "[]" && len(a.Chosen) > 0 || c.want != "[]" && got != c.want || left != c.left || !a.Proven {
			t.Errorf("%s: %s, left %q, proven %v; want %s, left %q", c.what, got, left, a.Proven, c.want, c.left)
		}
		if err := holds(c.q, a); err != nil {
			t.Errorf("%s: %v", c.what, err)
		}
	}
	a, err := Plan(Question{Now: two, LeaveBy: hour, Stock: map[string]int64{"tape": 39}, Candidates: []Candidate{taped, tarp, edge("ridge", 60, 100, 0)}})
	if err != nil || len(a.Fetch) != 1 || a.Fetch[0] != (Need{"tape", 1}) || a.FetchGainL <= 0 {
		t.Errorf("fetch %v for %g l, %v", a.Fetch, a.FetchGainL, err)
	}
	if want := hour.Add(-10 * time.Minute); !a.CoverBy.Equal(want) {
		t.Errorf("cover by %s, want %s", a.CoverBy, want)
	}
}

// simpleGreedy takes, over and over, the doable job that keeps out most for its minutes.
func simpleGreedy(q Question) int64 {
	var ids []string
	for {
		var best []string
		var bestRate float64
		v, _ := keepsOut(q, ids)
		for _, c := range q.Candidates {
			if slices.Contains(ids, c.ID) {
				continue
			}
			try := append(slices.Clone(ids), c.ID)
			w, err := keepsOut(q, try)
			if rate := float64(w-v) / c.Crew.Minutes(); err == nil && (best == nil || rate > bestRate) {
				best, bestRate = try, rate
			}
		}
		if best == nil {
			return v
		}
		ids = best
	}
}

// On forty candidates: the rules hold, the bound holds, greedy is never better, and the
// same question gets the same answer.
func TestPlanOfFortyIsNeverWorseThanGreedy(t *testing.T) {
	const seed = 40
	t.Logf("seed %d", seed)
	g := rand.New(rand.NewPCG(seed, 2))
	for n := range 40 {
		q := anyQuestion(func(lo, hi int) int { return lo + g.IntN(hi-lo+1) }, 40, 300)
		if n%2 == 0 {
			q = roofLike(g, 40, 4, n%4 == 0)
		}
		q.Effort = 100_000 // the rules must hold whether or not the search gets to its end
		a, err := Plan(q)
		if err != nil {
			t.Fatal(err)
		}
		if err := holds(q, a); err != nil {
			t.Fatalf("question %d: %v", n, err)
		}
		v, _ := keepsOut(q, idsOf(a))
		if w := simpleGreedy(q); v < w {
			t.Fatalf("question %d: %d µl, greedy %d", n, v, w)
		}
		if n%8 != 0 {
			continue
		}
		b, err := Plan(q)
		if err != nil || fmt.Sprint(a) != fmt.Sprint(b) {
			t.Fatalf("question %d asked again: %v\n%v\n%v", n, err, a, b)
		}
	}
}

// roofLike is a question as a roof asks it: chains of dry-in and closing, covers, drips
// in proportion to the night.
func roofLike(g *rand.Rand, n, hours int, rain bool) Question {
	q := Question{Now: two, LeaveBy: two.Add(time.Duration(hours) * time.Hour), Heads: 4, Stock: map[string]int64{"tape": 300, "tarp": 4, "ridge": 20}}
	if rain {
		q.RainStart = two.Add(time.Duration(hours*20) * time.Minute)
	}
	for i := 0; len(q.Candidates) < n; i++ {
		litres := 5 + 400*g.Float64()*g.Float64()
		where := fmt.Sprint("edge-", i)
		q.Candidates = append(q.Candidates,
			Candidate{ID: where + "-dry", Where: where, Crew: time.Duration(600+g.IntN(2400)) * time.Second, NightL: litres * 0.8, DripLH: litres * 0.08, Needs: []Need{{"tape", int64(5 + g.IntN(30))}}},
			Candidate{ID: where + "-close", Where: where, Crew: time.Duration(900+g.IntN(3600)) * time.Second, LeastHeads: 2, After: []string{where + "-dry"}, NightL: litres * 0.2, DripLH: litres * 0.02, Needs: []Need{{"ridge", int64(1 + g.IntN(4))}}},
			Candidate{ID: where + "-cover", Where: where, Cover: true, Crew: time.Duration(300+g.IntN(900)) * time.Second, Instead: []string{where + "-dry", where + "-close"}, NightL: litres * 0.7, DripLH: litres * 0.07, Needs: []Need{{"tarp", 1}}})
	}
	q.Candidates = q.Candidates[:n]
	return q
}
