// Package assembly says how a roof of one type is built: the panel, the layers on a
// plane in order, and for each kind of edge its steps in order. Estimate, ledger,
// checks, exposure and closeout all read the same steps.
//
// Three assemblies ship with the program (Shipped); users write their own, and Read
// checks them. The package is pure; an Assembly does not change once it is read.
package assembly

import (
	"slices"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/windzone"
)

// Assembly is one way to build a roof. What it says varies with wind load, local code
// and the tested system; Notes say that to whoever reads it.
type Assembly struct {
	Name  string `json:"name"`
	Title string `json:"title"`
	// Source says where its facts are from.
	Source string   `json:"source"`
	Notes  []string `json:"notes"`
	// LeastPitch is the flattest pitch it may be built on.
	LeastPitch quantity.Pitch `json:"least_pitch"`
	// LeastPitchSource names the rule behind LeastPitch.
	LeastPitchSource string `json:"least_pitch_source"`
	Panel            Panel  `json:"panel"`
	// Square is how far out of square a plane may be over its run; more means stop
	// and correct.
	Square quantity.Length `json:"square_allowance"`
	// SunDays is how long the underlayment may lie in the sun; zero when unknown.
	SunDays int `json:"underlayment_sun_days,omitempty"`
	// Wind is which wind zone coefficients are used to caution of loose panels and layers:
	// those that the local code adopts. Without it the program's default edition is used.
	Wind      *windzone.Choice `json:"wind,omitempty"`
	Materials []Material       `json:"materials"`
	// Plane holds a plane's steps in order, from the bare deck up.
	Plane []Step `json:"plane"`
	// Edges holds how each kind of edge is closed, by kind: eave, rake, ridge, hip,
	// valley, wall, break.
	Edges map[string]Edge `json:"edges"`
	// Openings holds how what goes through the roof is flashed, by kind: chimney,
	// skylight, dormer, curb, pipe. Where it lacks a kind that is no pipe, curb stands in.
	Openings map[string]Edge `json:"openings,omitempty"`
	// Roof holds the checks of the roof as a whole.
	Roof []Check `json:"roof_checks,omitempty"`
}

// Panel is the sheet between two seams.
type Panel struct {
	Material events.MaterialID `json:"material"`
	// Metal is steel, stainless, aluminum, copper or zinc.
	Metal     string          `json:"metal"`
	Thickness quantity.Length `json:"thickness"`
	// Cover is the width from seam to seam; LeastCover is the narrowest strip that is
	// worth setting; Coil is the flat width it is formed from.
	Cover      quantity.Length `json:"cover"`
	LeastCover quantity.Length `json:"least_cover"`
	Coil       quantity.Length `json:"coil_width"`
	// Seam is the seam's height.
	Seam quantity.Length `json:"seam_height"`
	// ClipAllowableN is the pull that one clip may take, in newtons, by the tested
	// system that ClipAllowableSource names; zero where nobody entered it.
	ClipAllowableN      float64 `json:"clip_allowable_n,omitempty"`
	ClipAllowableSource string  `json:"clip_allowable_source,omitempty"`
	// Ends is what the cut length gains (or, below zero, loses) at an end that meets
	// an edge of the kind.
	Ends map[string]quantity.Length `json:"ends"`
}

// Edge is how one kind of edge is closed, or one kind of opening flashed.
type Edge struct {
	// Opening is how high the way in is while panels are on and the edge is not
	// closed; driving rain is reckoned with it.
	Opening quantity.Length `json:"opening"`
	Steps   []Step          `json:"steps"`
}

// What a step is reported by.
const (
	// Layer is reported by layer-laid.
	Layer = "layer"
	// Panels is reported by panel-set, panel by panel.
	Panels = "panels"
	// Trim is reported by trim-installed.
	Trim = "trim"
	// Seal is reported by seal-made.
	Seal = "seal"
)

// What a place is once a step and all before it are done.
const (
	// Open lets weather in.
	Open = "open"
	// DriedIn keeps rain out for now: barrier or felt is on.
	DriedIn = "dried-in"
	// WeatherTight is closed for good.
	WeatherTight = "weather-tight"
)

// Step is one thing to do at a place, in its turn.
type Step struct {
	ID events.StepID `json:"id"`
	// Does says what is done, in one sentence.
	Does string `json:"does"`
	Kind string `json:"kind"`
	// Becomes is what the place is once this step and all before it are done; empty,
	// it stays what it was.
	Becomes string `json:"becomes,omitempty"`
	Uses    []Use  `json:"uses,omitempty"`
	// Checks are what must be measured or seen.
	Checks []Check `json:"checks,omitempty"`
	// AfterPlane names plane steps that come first on the planes at this edge;
	// AfterEdge names edge steps, by kind of edge, that come first at a plane's edges.
	AfterPlane []events.StepID            `json:"after_plane,omitempty"`
	AfterEdge  map[string][]events.StepID `json:"after_edge,omitempty"`
	Rate       Rate                       `json:"rate"`
	// Heads is how many people it takes at least.
	Heads int `json:"heads,omitempty"`
	// Along is which part of an opening's border the step runs along; empty, Round.
	Along string `json:"along,omitempty"`
	// WiderThan and UpToWidth bound the openings at which the step is due, by their width
	// across the fall; zero is no bound.
	WiderThan quantity.Length `json:"wider_than,omitzero"`
	UpToWidth quantity.Length `json:"up_to_width,omitzero"`
}

// Rate is how long one person takes for an amount of a step, at first: a crew's own
// reports replace it.
type Rate struct {
	Minutes int             `json:"minutes"`
	For     quantity.Amount `json:"for"`
	Source  string          `json:"source"`
}

// Check is what must be measured or seen before the job can be closed.
type Check struct {
	// ID names it within its step; on a job's checklist it is place/step/id.
	ID string `json:"id"`
	// What says what must hold, in one sentence.
	What string `json:"what"`
	// Of is which measure proves it (see events.MeasureTaken); empty, somebody looks
	// and signs.
	Of string `json:"of,omitempty"`
	// Least and Most bound each measured length; nil is no bound.
	Least *quantity.Length `json:"least,omitempty"`
	Most  *quantity.Length `json:"most,omitempty"`
	// MostPercent bounds moisture; zero is no bound.
	MostPercent float64 `json:"most_percent,omitempty"`
	// Photo asks for a picture with the signature.
	Photo bool `json:"photo,omitempty"`
	// Blocks is what a failed measure stops: night, closeout or nothing.
	Blocks string `json:"blocks"`
	Source string `json:"source"`
}

// Material finds a material by its id.
func (a *Assembly) Material(id events.MaterialID) (*Material, bool) {
	i := slices.IndexFunc(a.Materials, func(m Material) bool { return m.ID == id })
	if i < 0 {
		return nil, false
	}
	return &a.Materials[i], true
}

// Steps lists the steps at an edge of a kind, or on a plane for the kind "plane"; nil
// when the assembly knows no such kind.
func (a *Assembly) Steps(kind string) []Step {
	if kind == PlaneKind {
		return a.Plane
	}
	return a.Edges[kind].Steps
}

// OpeningSteps lists the steps at an opening of a kind and width; nil where the assembly
// says nothing of it.
func (a *Assembly) OpeningSteps(kind string, width quantity.Length) []Step {
	var due []Step
	for _, s := range a.opening(kind).Steps {
		if width > s.WiderThan && (s.UpToWidth == 0 || width <= s.UpToWidth) {
			due = append(due, s)
		}
	}
	return due
}

func (a *Assembly) opening(kind string) Edge {
	e, ok := a.Openings[kind]
	if !ok && kind != "pipe" {
		e = a.Openings["curb"]
	}
	return e
}

// GapAt is how high the way in is at an edge or opening of a kind, while panels are on and it
// is not closed; zero for a kind that the assembly does not know.
func (a *Assembly) GapAt(kind string) quantity.Length {
	if e, ok := a.Edges[kind]; ok {
		return e.Opening
	}
	return a.opening(kind).Opening
}

// The parts of an opening's border.
const (
	// Round is all of it.
	Round = "round"
	// Apron is its low side, Sides run up the slope, Head is its high side, against which
	// the water comes.
	Apron = "apron"
	Sides = "sides"
	Head  = "head"
)

// PlaneKind is the kind that Steps takes for a plane.
const PlaneKind = "plane"
