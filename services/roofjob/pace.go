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
	learned := map[events.StepID]*lesson{}
	for _, st := range stretches(s.now.worked) {
		total := 0.0
		for _, given := range st.given {
			total += given
		}
		for _, id := range slices.Sorted(maps.Keys(st.given)) {
			if learned[id] == nil {
				learned[id] = new(lesson)
			}
			learned[id].hear(math.Log(st.personMin/total), st.given[id]/total)
		}
	}
	var all []Pace
	for id, l := range learned {
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

// stretches parts a job's work into stretches of time.
func stretches(all []worked) []stretch {
	var out []stretch
	var open stretch
	var from, last, began time.Time
	heads := 0
	end := func() {
		if took := last.Sub(from); heads > 0 && len(open.given) > 0 && took >= leastStretch && took <= mostStretch {
			open.personMin = took.Minutes() * float64(heads)
			out = append(out, open)
		}
		open = stretch{given: map[events.StepID]float64{}}
	}
	end()
	for _, w := range all {
		if w.heads == 0 || w.given <= 0 {
			continue
		}
		switch {
		case w.began != began:
			end()
			from, began, heads = w.began, w.began, w.heads
		case w.at.Sub(last) > together:
			end()
			from, heads = last, w.heads // a day may be changed while it is under way
		}
		open.given[w.step] += w.given
		last = w.at
	}
	end()
	return out
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
