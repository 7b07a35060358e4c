package events

import "bydark/events/quantity"

// OrderLine is one material of an order.
type OrderLine struct {
	Material MaterialID      `json:"material"`
	Amount   quantity.Amount `json:"amount"`
	// Due is the promised day, YYYY-MM-DD; empty when none was promised.
	Due string `json:"due,omitempty"`
}

// MaterialOrdered says that an order went out: purchasing's report. Nothing is on
// the site by it.
type MaterialOrdered struct {
	// Order is the order's own number, at the firm that ordered.
	Order string      `json:"order"`
	Lines []OrderLine `json:"lines"`
}

// ReceivedLine is one material of a delivery.
type ReceivedLine struct {
	Material MaterialID `json:"material"`
	// Amount is what came and can be used.
	Amount quantity.Amount `json:"amount"`
	// Short is what should have come and did not; Damaged came and cannot be used.
	// Neither is part of Amount.
	Short   *quantity.Amount `json:"short,omitempty"`
	Damaged *quantity.Amount `json:"damaged,omitempty"`
}

// MaterialReceived says what came off the truck, as counted at the site.
type MaterialReceived struct {
	Order string         `json:"order,omitempty"`
	Lines []ReceivedLine `json:"lines"`
}

// MaterialMoved takes material to another job of the same company, where it arrives
// without a report of its own.
type MaterialMoved struct {
	Material MaterialID      `json:"material"`
	Amount   quantity.Amount `json:"amount"`
	To       JobID           `json:"to"`
	// Offcut is the offcut that goes, by its id or length; empty when whole lengths or
	// packs do.
	Offcut string `json:"offcut,omitempty"`
}

// MaterialCounted is a count of what lies at the site. It replaces no other report:
// the ledger shows the difference, and goes on from what was counted.
type MaterialCounted struct {
	Material MaterialID      `json:"material"`
	Amount   quantity.Amount `json:"amount"`
	Reason   string          `json:"reason,omitempty"`
}

// MaterialSpoiled is material that can no longer be used, and why.
type MaterialSpoiled struct {
	Material MaterialID      `json:"material"`
	Amount   quantity.Amount `json:"amount"`
	Reason   string          `json:"reason"`
}

// MaterialReturned went back to where it was bought.
type MaterialReturned struct {
	Material MaterialID      `json:"material"`
	Amount   quantity.Amount `json:"amount"`
	Reason   string          `json:"reason,omitempty"`
}

func (MaterialOrdered) fact()  {}
func (MaterialReceived) fact() {}
func (MaterialMoved) fact()    {}
func (MaterialCounted) fact()  {}
func (MaterialSpoiled) fact()  {}
func (MaterialReturned) fact() {}
