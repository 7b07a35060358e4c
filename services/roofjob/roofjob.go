// Package roofjob decides: a report and the state of its job give an event, or a
// refusal. State folds a job's events; Decide is pure; Service loads, decides and
// appends. Everything the views show is derived from a State too, so that what is
// refused and what is shown never disagree.
package roofjob

import (
	"math"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// Actor is who sends a report.
type Actor struct {
	Person events.PersonID
	// OthersReports allows withdrawing what somebody else reported.
	OthersReports bool
}

// Step is how far one step at a place has come.
type Step struct {
	ID   events.StepID
	Does string
	Kind string
	// Becomes is what the place is once this step and all before it are done.
	Becomes string
	// Done is what was done of Of, never more than it; Over is what was reported
	// beyond Of.
	Done, Of, Over quantity.Amount
	// First and Last are when the step was first and last worked on; zero when never.
	First, Last time.Time
}

// Complete tells whether all of the step is done.
func (s Step) Complete() bool { return s.Fraction() >= 1 }

// Fraction is how much of the step is done, from 0 to 1.
func (s Step) Fraction() float64 { return quantity.Fraction(s.Done, s.Of) }

// The words for what a place is. Open, dried-in and weather-tight are the
// assembly's; these two are besides.
const (
	// Untouched is a place whose old roof is still on, or whose deck is not there yet.
	Untouched = "untouched"
	// Covered is an open place under a tarp or sheet.
	Covered = "covered"
)

// Place is how one plane or edge stands.
type Place struct {
	Mark events.Place
	// Kind is the kind of edge, or assembly.PlaneKind.
	Kind string
	// Planes are the planes that meet at an edge; the plane itself for a plane.
	Planes []events.Place
	// Extent is an edge's true length or a plane's true area.
	Extent quantity.Amount
	Steps  []Step
	// State is one of untouched, open, dried-in, weather-tight, covered.
	State string
	// Panelled tells of an edge that panels lie at it, so that it is a way in under
	// them until it is closed.
	Panelled bool
	// Opened is how much of a plane's deck was laid bare.
	Opened quantity.Amount
	// Covered is when a cover was placed that still lies; zero when none does. CoverOf is
	// the plane on which it lies, of an edge that is covered with that plane.
	Covered time.Time
	CoverOf events.Place
	// Claimed is when somebody claimed it weather-tight; zero when nobody did.
	Claimed time.Time
}

// IsOpen tells whether weather gets in if the place is left as it is: bare deck, or
// panels on and the edge not closed.
func (p Place) IsOpen() bool {
	return p.State == "open" || p.Panelled && p.State == "dried-in"
}

// Missing lists the steps that are not complete, in their order.
func (p Place) Missing() []Step {
	var missing []Step
	for _, s := range p.Steps {
		if !s.Complete() {
			missing = append(missing, s)
		}
	}
	return missing
}

// OpenedShare is how much of a plane's deck was laid open, from 0 to 1. Where work was
// begun and nobody reported how much was opened, it is all of it.
func (p Place) OpenedShare() float64 {
	if p.Opened.Sign() > 0 {
		return quantity.Fraction(p.Opened, p.Extent)
	}
	for _, s := range p.Steps {
		if s.Done.Sign() > 0 {
			return 1
		}
	}
	return 0
}

// DriedShare is how much of a plane lies under a step that keeps rain out.
func (p Place) DriedShare() float64 {
	dried := 0.0
	for _, s := range p.Steps {
		if s.Becomes == assembly.DriedIn || s.Becomes == assembly.WeatherTight {
			dried = max(dried, s.Fraction())
		}
	}
	return dried
}

// BareShare is how much of a plane is bare deck: laid open and under nothing that keeps
// rain out.
func (p Place) BareShare() float64 { return max(0, p.OpenedShare()-p.DriedShare()) }

// Bare is the true area of bare deck.
func (p Place) Bare() quantity.Amount {
	return quantity.OfArea(quantity.Area(math.Round(float64(p.Extent.Area()) * p.BareShare())))
}

// SetShare is how much of a plane lies under panels.
func (p Place) SetShare() float64 {
	for _, s := range p.Steps {
		if s.Kind == assembly.Panels {
			return s.Fraction()
		}
	}
	return 0
}
