package events

import "bydark/events/quantity"

// An amount left out of a work report means all that remained when it happened.

// DeckOpened says that the deck of a plane lies bare: the old roof is off, or the new
// deck is on. From here the plane and its edges are exposed. Beyond what the old roof still
// lay on, it is what was done since that is opened again and counts as done no more.
type DeckOpened struct {
	Where  Place            `json:"where"`
	Amount *quantity.Amount `json:"amount,omitempty"`
	Reason string           `json:"reason,omitempty"`
}

// LayerLaid says that a layer of the assembly was laid on a plane.
type LayerLaid struct {
	Where  Place            `json:"where"`
	Step   StepID           `json:"step"`
	Amount *quantity.Amount `json:"amount,omitempty"`
	// Reason is the word on why, where more was laid than the plane is large.
	Reason string `json:"reason,omitempty"`
}

// CutFrom says what a piece was cut out of: exactly one of the three.
type CutFrom struct {
	// Stock is a full length as bought, by its length or id.
	Stock string `json:"stock,omitempty"`
	// Offcut is what an earlier cut left, by its id (that of the report that kept it) or
	// its length.
	Offcut string `json:"offcut,omitempty"`
	// Coil is a coil's id.
	Coil string `json:"coil,omitempty"`
}

// PanelCut says that a panel was cut. A miscut is metal used and no panel gained.
type PanelCut struct {
	Piece  PieceMark       `json:"piece"`
	Length quantity.Length `json:"length"`
	From   CutFrom         `json:"from"`
	// Offcut is the length that was kept of what it was cut from.
	Offcut *quantity.Length `json:"offcut,omitempty"`
	// Miscut is why the cut piece cannot be used; empty when it can.
	Miscut string `json:"miscut,omitempty"`
}

// PanelSet says that a panel lies in its place, clipped and seamed to its neighbour.
type PanelSet struct {
	Piece PieceMark `json:"piece"`
}

// TrimInstalled says that a trim, cleat or closure of an edge's steps was fixed.
type TrimInstalled struct {
	Where  Place            `json:"where"`
	Step   StepID           `json:"step"`
	Amount *quantity.Amount `json:"amount,omitempty"`
	// Reason is the word on why, where more was fixed than the edge is long.
	Reason string `json:"reason,omitempty"`
	// Material is which of the step's materials the offcuts are of, where it has several
	// that come in lengths.
	Material MaterialID `json:"material,omitempty"`
	// Offcuts are the lengths that were kept of what was cut for it. FromOffcuts are those
	// that it was cut out of, by their ids or lengths.
	Offcuts     []quantity.Length `json:"offcuts,omitempty"`
	FromOffcuts []string          `json:"from_offcuts,omitempty"`
}

// SealMade says that tape, sealant or a seam of an edge's steps was done.
type SealMade struct {
	Where  Place            `json:"where"`
	Step   StepID           `json:"step"`
	Amount *quantity.Amount `json:"amount,omitempty"`
	Reason string           `json:"reason,omitempty"`
}

// CoverPlaced says that a tarp or sheet keeps the weather off a place for now. It
// ends no step.
type CoverPlaced struct {
	Where Place `json:"where"`
}

// CoverRemoved says that the cover is off again.
type CoverRemoved struct {
	Where Place `json:"where"`
}

// WeatherTightReached is the claim that a place lets nothing in: refused while a step
// of it is open.
type WeatherTightReached struct {
	Where Place `json:"where"`
}

func (DeckOpened) fact()          {}
func (LayerLaid) fact()           {}
func (PanelCut) fact()            {}
func (PanelSet) fact()            {}
func (TrimInstalled) fact()       {}
func (SealMade) fact()            {}
func (CoverPlaced) fact()         {}
func (CoverRemoved) fact()        {}
func (WeatherTightReached) fact() {}
