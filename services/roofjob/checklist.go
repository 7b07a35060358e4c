package roofjob

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bydark/events"
	"bydark/services/assembly"
)

// Signature is who signed a check, with which evidence.
type Signature struct {
	At     time.Time
	By     events.PersonID
	Report events.ReportID
	Photos []events.PhotoDigest
}

// Check is one check that roof and assembly demand at one place.
type Check struct {
	// ID is place/step/check, or roof/check for those of the whole roof.
	ID     string
	Where  events.Place
	Step   events.StepID
	What   string
	Of     string
	Photo  bool
	Source string
	// Done tells that it was signed, or that a measure within bounds proves it.
	Done bool
	At   time.Time
	By   events.PersonID
	// Verdict says what the last measure of its sort at the place came to; empty where none
	// was taken.
	Verdict string
	// Evidence is the report that proves it.
	Evidence events.ReportID
	Photos   []events.PhotoDigest
}

// Checks are all checks of the job, in the order of its places and their steps.
func (s *State) Checks() []Check {
	f := &s.now
	if f.drawing == nil {
		return nil
	}
	var checks []Check
	for _, place := range f.drawing.order {
		for _, step := range f.drawing.steps(place) {
			for _, c := range step.Checks {
				id := string(place) + "/" + string(step.ID) + "/" + c.ID
				checks = append(checks, s.check(id, place, step.ID, c))
			}
		}
	}
	for _, c := range f.drawing.assembly.Roof {
		checks = append(checks, s.check(string(events.WholeRoof)+"/"+c.ID, events.WholeRoof, "", c))
	}
	return checks
}

func (s *State) check(id string, where events.Place, step events.StepID, c assembly.Check) Check {
	out := Check{ID: id, Where: where, Step: step, What: c.What, Of: c.Of, Photo: c.Photo, Source: c.Source}
	var reopened time.Time
	if w := s.now.work[where]; w != nil && step != "" {
		reopened = w.reopened
	}
	if g, ok := s.lastGauge(where, ways(c.Of)); ok {
		out.Verdict = g.Verdict
		if !g.At.After(reopened) {
			out.Verdict = "Measured before " + string(where) + " was opened again: " + g.Verdict
		} else if g.Fits {
			out.Done, out.At, out.By, out.Evidence = true, g.At, g.By, g.Report
		}
	}
	if sig, ok := s.now.signed[id]; ok && !sig.At.After(reopened) {
		out.Verdict = "Signed before " + string(where) + " was opened again."
	} else if ok {
		out.Done, out.At, out.By, out.Evidence = true, sig.At, sig.By, sig.Report
		out.Photos = sig.Photos
	}
	if out.Evidence != "" {
		out.Photos = append(out.Photos[:len(out.Photos):len(out.Photos)], s.Photos(out.Evidence)...)
	}
	return out
}

// ways are the sorts of measure that prove what a check asks for: a corner is proven square
// either way.
func ways(of string) []string {
	switch of {
	case "":
		return nil
	case events.OfDiagonals, events.OfThreeFourFive:
		return []string{events.OfDiagonals, events.OfThreeFourFive}
	}
	return []string{of}
}

// lastGauge is the last measure at a place of one of the sorts.
func (s *State) lastGauge(where events.Place, sorts []string) (last Gauge, ok bool) {
	for _, of := range sorts {
		if g, taken := s.now.gauged[gauge{where, of}]; taken && !g.At.Before(last.At) {
			last, ok = g, true
		}
	}
	return last, ok
}

// Stage is how far the job is, in one word or two.
func (s *State) Stage() string {
	if !s.now.closed.IsZero() {
		return "closed"
	}
	opened, dry, panelled, tight, planes, bare := 0, 0, 0, 0, 0, 0
	places := s.Places()
	for _, p := range places {
		if p.State == assembly.WeatherTight {
			tight++
		}
		if p.Kind != assembly.PlaneKind {
			continue
		}
		planes++
		switch p.State {
		case Untouched:
			continue
		case assembly.DriedIn, assembly.WeatherTight:
			dry++
		case assembly.Open:
			bare++
		}
		opened++
		for _, step := range p.Steps {
			if step.Kind == assembly.Panels && step.Done.Sign() > 0 {
				panelled++
			}
		}
	}
	switch {
	case len(places) == 0:
		return "no drawing"
	case tight == len(places):
		return "weather-tight"
	case panelled == planes && bare > 0:
		return "deck open"
	case panelled == planes:
		return "trims"
	case panelled > 0:
		return "panels"
	case dry == planes:
		return "dried in"
	case opened > 0:
		return "deck open"
	}
	return "not started"
}

// PercentClosed is the share of all edges, by length, that is weather-tight and has no
// bare deck beside it, rounded down so that 100 means all of it.
func (s *State) PercentClosed() int {
	var closed, all int64
	bare := map[events.Place]bool{}
	for _, p := range s.Places() { // planes come first
		if p.Kind == assembly.PlaneKind {
			bare[p.Mark] = p.State == assembly.Open || p.State == Covered
			continue
		}
		all += int64(p.Extent.Length())
		if p.State == assembly.WeatherTight && !slices.ContainsFunc(p.Planes, func(m events.Place) bool { return bare[m] }) {
			closed += int64(p.Extent.Length())
		}
	}
	if all == 0 {
		return 0
	}
	return int(float64(closed) / float64(all) * 100)
}

// MissingTight lists, in words, what a place (or the whole roof) still lacks to be
// weather-tight.
func (s *State) MissingTight(where events.Place) []string {
	var missing []string
	for _, p := range s.Places() {
		if where != events.WholeRoof && p.Mark != where || p.State == assembly.WeatherTight {
			continue
		}
		for _, step := range p.Missing() {
			missing = append(missing, fmt.Sprintf("%s at %s: %s of %s done", step.ID, p.Mark, done(step), step.Of.Shown()))
		}
	}
	for _, i := range s.Items() {
		if i.IsOpen() && i.Blocks == events.BlocksNight && (where == events.WholeRoof || i.Where == where) {
			missing = append(missing, "punch item "+string(i.ID)+" at "+string(i.Where)+": "+i.What)
		}
	}
	return missing
}

func done(s Step) string {
	if s.Done.IsZero() {
		return "nothing"
	}
	return s.Done.Shown()
}

// MissingCloseout lists, in words, what still stops the job from being closed.
func (s *State) MissingCloseout() []string {
	missing := s.MissingTight(events.WholeRoof)
	for _, c := range s.Checks() {
		if !c.Done {
			missing = append(missing, "check "+c.ID+": "+strings.TrimSuffix(c.What, "."))
		}
	}
	for _, i := range s.Items() {
		if i.IsOpen() && i.Blocks == events.BlocksCloseout {
			missing = append(missing, "punch item "+string(i.ID)+" at "+string(i.Where)+": "+i.What)
		}
	}
	return missing
}
