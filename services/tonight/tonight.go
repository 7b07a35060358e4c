// Package tonight plans what a crew closes before it leaves a roof, and in which order:
// the plan that keeps the most water out, proven best for the sizes a roof has.
//
// The crew works as one and does one job after another, in whole minutes. A job keeps
// water out from the minute it is done until the next morning. The package is pure: no
// clock, no chance, no input or output, and the same question always gets the same
// answer.
package tonight

import "time"

// Question is what a plan is made from.
type Question struct {
	Now, LeaveBy time.Time
	// RainStart is when it begins to rain; zero, or after LeaveBy, when it stays dry
	// while the crew is there. From then on what is still open drips, so that order
	// counts.
	RainStart time.Time
	// RainAssumed tells that nobody forecast RainStart: the order goes by it, the last
	// moment to start covering does not.
	RainAssumed bool
	// Heads is how many are on the roof.
	Heads      int
	Candidates []Candidate
	// Stock is what is at hand by material, in the material's smallest unit; a material
	// that is not there is not at hand.
	Stock map[string]int64
	// Effort bounds the search, in steps of some 10 ns; zero takes Usual.
	Effort int
}

// Usual is the effort that takes some 150 ms of one core.
const Usual = 24_000_000

// Candidate is one job that the crew may do: missing steps of a plane or an edge as a
// crew would do them together, or a cover over it.
type Candidate struct {
	ID    string
	Where string
	Steps []string
	// Crew is how long the crew at hand takes, rounded up to whole minutes; at least one.
	Crew time.Duration
	// LeastHeads is how many it takes to do it safely at all.
	LeastHeads int
	// After are the jobs that must be done before it, by ID.
	After []string
	// Instead are the jobs that it stands in for: of it and each of them at most one is
	// done. A cover names the jobs that would close its place.
	Instead []string
	// NightL is the water it keeps out from LeaveBy until the next start, in litres,
	// given that what it comes after is done.
	NightL float64
	// DripLH is the water it keeps out in each hour of rain before LeaveBy.
	DripLH float64
	Needs  []Need
	Cover  bool
}

// Need is an amount of a material, in its smallest unit.
type Need struct {
	Material string
	Amount   int64
}

// Answer is a plan, with what is needed to check it.
type Answer struct {
	MinutesLeft int
	// Chosen are the jobs in the order in which to do them.
	Chosen []Job
	// KeepsOutL is the water that the chosen jobs keep out, BoundL what no plan exceeds.
	KeepsOutL, BoundL float64
	// Proven says that no plan keeps out more.
	Proven bool
	// Left are the candidates not chosen, in the order of the question.
	Left []Left
	// CoverBy is the last moment at which putting every cover on is still done by
	// LeaveBy, or by the rain where that comes first; it may have passed. Zero when there is
	// no cover.
	CoverBy time.Time
	// Fetch is what the best plan with everything at hand lacks, and FetchGainL what it
	// would keep out beyond this one. Both empty when stock holds nothing back.
	Fetch      []Need
	FetchGainL float64
}

// Job is a chosen candidate with its times.
type Job struct {
	ID          string
	Start, Done time.Time
	KeepsOutL   float64
}

// Left is a candidate that is not chosen, and why.
type Left struct {
	ID     string
	Why    Reason
	LetsIn float64 // litres that doing it would keep out at best
}

// Reason is why a candidate is not in the plan.
type Reason string

// Reasons, the first that applies.
const (
	NotEnoughHeads Reason = "not enough heads"
	NotInStock     Reason = "not in stock"
	NotEnoughTime  Reason = "not enough time" // it does not fit at all, even alone
	Waits          Reason = "what it waits for is not done"
	Replaced       Reason = "something else is done instead"
	Outbid         Reason = "others keep out more in the time and with the stock"
	KeepsNothing   Reason = "it keeps nothing out"
)
