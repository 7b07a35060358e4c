package assembly

import (
	"bydark/events"
	"bydark/events/quantity"
)

// How a use's quantity follows from the place.
const (
	// PerArea covers a plane in courses of the material's width: side and end laps.
	PerArea = "area"
	// PerStrip covers a strip of Width along an edge: end laps.
	PerStrip = "strip"
	// PerLength runs along an edge Count times, in stock lengths lapped by EndLap.
	PerLength = "length"
	// PerSpacing stands every Spacing along an edge, Count rows, one at each end.
	PerSpacing = "spacing"
	// PerSquare is Count pieces on each square (100 square feet) of a plane.
	PerSquare = "square"
	// PerPanel is Count, or ByCover's count, for each panel of the plane or each
	// panel end at the edge.
	PerPanel = "panel"
	// PerJoint is Count at each joint between stock lengths of Of.
	PerJoint = "joint"
	// PerBead is Count beads along an edge, by length.
	PerBead = "bead"
	// PerClip stands along each seam, closer at rake and first panels.
	PerClip = "clip"
	// PerOpening is Count pieces for each opening or pipe.
	PerOpening = "opening"
	// PerCorner is Count pieces at each end of an edge that stands at an outside corner of
	// the roof, and at each corner of an opening.
	PerCorner = "corner"
	// PerCricket is the sheet metal of a cricket behind an opening, its two faces and
	// flanges of Width up the wall and out on the roof.
	PerCricket = "cricket"
	// PerCut is the panels' own metal by cut length.
	PerCut = "cut"
)

// Use is what a step takes of one material.
type Use struct {
	Material events.MaterialID `json:"material"`
	Per      string            `json:"per"`
	// Count is how many runs, rows, beads or pieces; zero is one.
	Count   int             `json:"count,omitempty"`
	Width   quantity.Length `json:"width,omitzero"`
	SideLap quantity.Length `json:"side_lap,omitzero"`
	EndLap  quantity.Length `json:"end_lap,omitzero"`
	Spacing quantity.Length `json:"spacing,omitzero"`
	// EndReturn is what a run of PerLength or PerStrip takes more at each end that stands
	// at an outside corner of the roof or at a corner of an opening, to fold round it.
	EndReturn quantity.Length `json:"end_return,omitzero"`
	// ByCover gives the count by the panel's cover width: the first row whose UpTo is
	// not below it.
	ByCover []CoverCount `json:"by_cover,omitempty"`
	// Of is the material whose joints are counted.
	Of events.MaterialID `json:"of,omitempty"`
	// Clips places clips along a seam.
	Clips  *Clips `json:"clips,omitempty"`
	Source string `json:"source"`
}

// CoverCount is a count for panels up to a cover width.
type CoverCount struct {
	UpTo  quantity.Length `json:"up_to"`
	Count int             `json:"count"`
}

// Clips places clips along a panel's seam.
type Clips struct {
	// FromEave is how far the lowest stands from the eave edge; FromRidge how far the
	// highest stays below the panel's upper end.
	FromEave  quantity.Length `json:"from_eave"`
	FromRidge quantity.Length `json:"from_ridge"`
	// Rake is the spacing along the rake and on the first FirstPanels panels, Field
	// the spacing elsewhere.
	Rake        quantity.Length `json:"rake"`
	FirstPanels int             `json:"first_panels"`
	Field       quantity.Length `json:"field"`
	// Screws is how many hold one clip.
	Screws int `json:"screws"`
}

// Times is Count, or one when none is given.
func (u Use) Times() int {
	if u.Count == 0 {
		return 1
	}
	return u.Count
}

// CountFor is how many pieces a panel of the cover width takes.
func (u Use) CountFor(cover quantity.Length) int {
	for _, row := range u.ByCover {
		if cover <= row.UpTo {
			return row.Count
		}
	}
	if n := len(u.ByCover); n > 0 {
		return u.ByCover[n-1].Count
	}
	return u.Times()
}
