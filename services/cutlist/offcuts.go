package cutlist

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/roofjob"
)

// Turn is one turn in the life of an offcut, and at which job.
type Turn struct {
	Job events.JobID `json:"job"`
	roofjob.OffcutTurn
}

// Turns are what a job's reports say of offcuts.
func Turns(s *roofjob.State) ([]Turn, error) {
	var out []Turn
	for _, t := range s.OffcutTurns() {
		out = append(out, Turn{s.Job, t})
	}
	return out, nil
}

// Offcut is a length that was kept and not yet used.
type Offcut struct {
	// ID is that of the report that kept it; reports that use or move it name it.
	ID       string            `json:"id"`
	Job      events.JobID      `json:"job"`
	Material events.MaterialID `json:"material"`
	Stuff    string            `json:"stuff"`
	Length   quantity.Length   `json:"length"`
	// Of is what it is left over from, Kept when.
	Of   string    `json:"of"`
	Kept time.Time `json:"kept"`
}

// name is what the plan and the sheet call it.
func (o *Offcut) name() string { return fmt.Sprintf("offcut of %s, id %s", o.Of, o.ID) }

// Settled is what became of a company's offcuts.
type Settled struct {
	// Lying are those that nobody used, in the order in which they were kept.
	Lying []Offcut
	// Used gives the length of the offcut that a report cut up.
	Used map[events.ReportID]quantity.Length
}

// Settle plays the turns of all jobs of a company in the order in which things happened.
// What a report calls an offcut is its id, or a length, which then means the oldest one of
// that material and length at that job. A use that was heard of before the move that
// brought the offcut counts all the same.
func Settle(turns []Turn) Settled {
	turns = slices.Clone(turns)
	slices.SortStableFunc(turns, func(a, b Turn) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Job, b.Job))
	})
	s := Settled{Used: map[events.ReportID]quantity.Length{}}
	var early []Turn
	for _, t := range turns {
		if t.What == roofjob.OffcutKept {
			s.Lying = append(s.Lying, Offcut{t.Offcut, t.Job, t.Material, t.Stuff, t.Length, t.Of, t.At})
			continue
		}
		if !s.play(t) {
			early = append(early, t)
		}
	}
	for _, t := range early {
		s.play(t)
	}
	return s
}

// play uses or moves an offcut; false when none is there by that name.
func (s *Settled) play(t Turn) bool {
	i := s.find(t)
	switch {
	case i < 0:
		return false
	case t.What == roofjob.OffcutMoved:
		s.Lying[i].Job = t.To
	default:
		s.Used[t.Report] = s.Lying[i].Length
		s.Lying = slices.Delete(s.Lying, i, i+1)
	}
	return true
}

func (s *Settled) find(t Turn) int {
	here := func(o Offcut) bool { return o.Job == t.Job && o.Material == t.Material }
	if i := slices.IndexFunc(s.Lying, func(o Offcut) bool { return here(o) && o.ID == t.Offcut }); i >= 0 {
		return i
	}
	length, err := quantity.ParseLength(t.Offcut)
	if err != nil {
		return -1
	}
	return slices.IndexFunc(s.Lying, func(o Offcut) bool { return here(o) && o.Length == length })
}
