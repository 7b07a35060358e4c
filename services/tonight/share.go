package tonight

import (
	"cmp"
	"math/bits"
	"slices"
)

// share is a material and the jobs that want of it. Which of them get it is a question of
// its own: a job pays a fee for being done in the network, and the share takes the fees of
// those that fit together. That bound is below what one price for the material gives.
type share struct {
	jobs  []int
	takes []int64
	have  int64
	gets  []bool // who gets it at these fees
	// What follows is of the last solve.
	fees  []int64 // beside jobs
	order []int   // those that pay, by what they pay for what they take
	trial []bool
	best  int64
	steps int
}

func newShare(in *instance, material int) *share {
	s := &share{have: in.stock[material]}
	for j := range in.size() {
		for _, a := range in.needs[j] {
			if a.material == material {
				s.jobs, s.takes = append(s.jobs, j), append(s.takes, a.n)
			}
		}
	}
	n := len(s.jobs)
	s.gets, s.trial = make([]bool, n), make([]bool, n)
	return s
}

// mostTried bounds the search of one share; beyond it the bound takes its place.
const mostTried = 2000

// solve finds the jobs that fit together and pay the most, and tells what they pay at most.
func (s *share) solve(fees []int64) int64 {
	s.fees = fees
	s.order = s.order[:0]
	for i, fee := range s.fees {
		if fee > 0 {
			s.order = append(s.order, i)
		}
	}
	slices.SortFunc(s.order, func(a, b int) int {
		ahi, alo := bits.Mul64(uint64(s.fees[a]), uint64(s.takes[b]))
		bhi, blo := bits.Mul64(uint64(s.fees[b]), uint64(s.takes[a]))
		return cmp.Or(cmp.Compare(bhi, ahi), cmp.Compare(blo, alo), cmp.Compare(a, b))
	})
	s.best, s.steps = -1, 0
	clear(s.gets)
	clear(s.trial)
	root := s.bound(0, s.have, 0)
	s.try(0, s.have, 0)
	if s.steps > mostTried {
		return root
	}
	return s.best
}

func (s *share) try(n int, left, sum int64) {
	if s.steps++; s.steps > mostTried {
		return
	}
	if n == len(s.order) {
		if sum > s.best {
			s.best = sum
			copy(s.gets, s.trial)
		}
		return
	}
	if s.bound(n, left, sum) <= s.best {
		return
	}
	i := s.order[n]
	if s.takes[i] <= left {
		s.trial[i] = true
		s.try(n+1, left-s.takes[i], sum+s.fees[i])
		s.trial[i] = false
	}
	s.try(n+1, left, sum)
}

// bound is what can be paid at most when the last job may get a part of what it takes.
func (s *share) bound(n int, left, sum int64) int64 {
	for _, i := range s.order[n:] {
		if s.takes[i] > left {
			return sum + s.part(i, left)
		}
		left -= s.takes[i]
		sum += s.fees[i]
	}
	return sum
}

// boundOf is the same where the jobs in done get what they take, and of the others those in
// may what they can of what is left.
func (s *share) boundOf(done, may uint64, left int64) int64 {
	sum := int64(0)
	for i, j := range s.jobs {
		if done>>j&1 != 0 {
			sum += s.fees[i]
		}
	}
	for _, i := range s.order {
		if may>>s.jobs[i]&1 == 0 {
			continue
		}
		if s.takes[i] > left {
			return sum + s.part(i, left)
		}
		left -= s.takes[i]
		sum += s.fees[i]
	}
	return sum
}

// part is what a job pays that gets of what it takes only what is left, rounded down.
func (s *share) part(i int, left int64) int64 {
	hi, lo := bits.Mul64(uint64(s.fees[i]), uint64(left))
	part, _ := bits.Div64(hi, lo, uint64(s.takes[i]))
	return int64(part)
}
