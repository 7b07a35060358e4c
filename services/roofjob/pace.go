package roofjob

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"bydark/events"
)

// Pace is how long this crew takes for a step, beside the given rate.
type Pace struct {
	Step events.StepID `json:"step"`
	// Times is what the given minutes are to be multiplied with; Low and High hold four
	// fifths of what is likely.
	Times float64 `json:"times"`
	Low   float64 `json:"low_80"`
	High  float64 `json:"high_80"`
	// Reports is how many reports it was learned from, in parts where one stretch of time
	// was of several steps.
	Reports float64 `json:"reports"`
}

// worked is one report of work: what it moved on, and how long that takes one person by the
// given rate.
type worked struct {
	at    time.Time
	heads int // of the day under way; zero when none was
	began time.Time
	step  events.StepID
	given float64 // person-minutes
}

// stretch is the time between two reports of a day, with what was done in it.
type stretch struct {
	personMin float64
	given     map[events.StepID]float64
}

// Reports nearer than this to each other were sent together, at the end of the same stretch;
// stretches shorter or longer are not work that was timed.
const (
	together     = 2 * time.Minute
	leastStretch = 5 * time.Minute
	mostStretch  = 5 * time.Hour
)

// Paces are what this job's own reports teach about the crew, by step: the time from report
// to report of a day, times the heads, beside what the given rates say, shrunk towards them.
// Steps that nobody reported are not in it.
func (s *State) Paces() []Pace {
	t := s.now.timing.clone() // the stretch under way ends only for whoever asks
	t.learn(t.end())
	var all []Pace
	for id, l := range t.learned {
		p := l.pace()
		p.Step = id
		all = append(all, p)
	}
	slices.SortFunc(all, func(a, b Pace) int { return cmp.Compare(a.Step, b.Step) })
	return all
}

// TimesOf are paces as a plan takes them.
func TimesOf(paces []Pace) map[events.StepID]float64 {
	times := map[events.StepID]float64{}
	for _, p := range paces {
		times[p.Step] = p.Times
	}
	return times
}

// timing parts a job's work into stretches of time, and learns from each as it ends.
type timing struct {
	learned           map[events.StepID]*lesson
	open              map[events.StepID]float64 // what was done in the stretch under way, in given person-minutes
	from, last, began time.Time
	heads             int
}

func (t *timing) clone() timing {
	c := *t
	c.open = maps.Clone(t.open)
	c.learned = map[events.StepID]*lesson{}
	for id, l := range t.learned {
		learned := *l
		c.learned[id] = &learned
	}
	return c
}

// hear learns from the next report of work.
func (t *timing) hear(w worked) { t.learn(t.part(w)) }

// part takes the next report of work; it may end a stretch.
func (t *timing) part(w worked) (ended stretch, ok bool) {
	if w.heads == 0 || w.given <= 0 {
		return stretch{}, false
	}
	switch {
	case !w.began.Equal(t.began):
		ended, ok = t.end()
		t.from, t.began, t.heads = w.began, w.began, w.heads
	case w.at.Sub(t.last) > together:
		ended, ok = t.end()
		t.from, t.heads = t.last, w.heads // a day may be changed while it is under way
	}
	if t.open == nil {
		t.open = map[events.StepID]float64{}
	}
	t.open[w.step] += w.given
	t.last = w.at
	return ended, ok
}

// end ends the stretch under way, if there is one that was timed.
func (t *timing) end() (stretch, bool) {
	open := t.open
	t.open = nil
	took := t.last.Sub(t.from)
	if t.heads == 0 || len(open) == 0 || took < leastStretch || took > mostStretch {
		return stretch{}, false
	}
	return stretch{took.Minutes() * float64(t.heads), open}, true
}

// learn shares what a stretch teaches out over its steps.
func (t *timing) learn(st stretch, ok bool) {
	if !ok {
		return
	}
	steps := slices.Sorted(maps.Keys(st.given))
	total := 0.0
	for _, id := range steps {
		total += st.given[id]
	}
	if t.learned == nil {
		t.learned = map[events.StepID]*lesson{}
	}
	for _, id := range steps {
		if t.learned[id] == nil {
			t.learned[id] = new(lesson)
		}
		t.learned[id].hear(math.Log(st.personMin/total), st.given[id]/total)
	}
}

// lesson is what was heard about one step: the logarithms of taken over given, each with a
// weight.
type lesson struct{ weight, sum, squares float64 }

func (l *lesson) hear(y, weight float64) {
	l.weight += weight
	l.sum += weight * y
	l.squares += weight * y * y
}

// What is believed before any report: a crew is within about half and one and a half times
// the given rate (standard deviation 0.42 of the logarithm), and single reports scatter as
// much round its own; both house defaults, worth one report and six.
const (
	beforeReports = 1.0  // κ₀
	beforeShape   = 3.0  // a₀
	beforeScatter = 0.36 // b₀ = (a₀ − 1)·0.42²
)

// pace is the posterior of a normal mean with unknown variance under a normal inverse gamma
// prior (Gelman and others, Bayesian Data Analysis, section 3.3): with n the weight, ȳ the
// mean of what was heard and S the sum of squares about it,
//
//	κ = κ₀ + n,  μ = n·ȳ/κ,  a = a₀ + n/2,  b = b₀ + S/2 + κ₀·n·ȳ²/2κ
//
// and the mean is Student's t of 2a degrees round μ with scale √(b/aκ).
func (l *lesson) pace() Pace {
	n := l.weight
	mean, about := 0.0, 0.0
	if n > 0 {
		mean = l.sum / n
		about = math.Max(0, l.squares-n*mean*mean)
	}
	kappa, a := beforeReports+n, beforeShape+n/2
	mu := n * mean / kappa
	b := beforeScatter + about/2 + beforeReports*n*mean*mean/(2*kappa)
	wide := student90(2*a) * math.Sqrt(b/(a*kappa))
	return Pace{Times: math.Exp(mu), Low: math.Exp(mu - wide), High: math.Exp(mu + wide), Reports: n}
}

// student90 is the 90 % point of Student's t for six degrees and more: Abramowitz and Stegun
// 26.7.5, within 0.001 there.
func student90(degrees float64) float64 {
	const z = 1.2815515655446004
	v := degrees
	g1 := (z*z*z + z) / 4
	g2 := (5*math.Pow(z, 5) + 16*z*z*z + 3*z) / 96
	g3 := (3*math.Pow(z, 7) + 19*math.Pow(z, 5) + 17*z*z*z - 15*z) / 384
	return z + g1/v + g2/(v*v) + g3/(v*v*v)
}
