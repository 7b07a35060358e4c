package ledger

import (
	"time"

	"bydark/events"
	"bydark/events/quantity"
)

// shortAhead is how many days before the last day to order a material is told of, on a
// roof that is not begun: a house default.
const shortAhead = 3

// Want is a material of which too little is at a roof and on its way there.
type Want struct {
	Material events.MaterialID `json:"material"`
	Name     string            `json:"name"`
	ShortBy  quantity.Amount   `json:"short_by"`
	OnHand   quantity.Amount   `json:"on_hand"`
	OnOrder  quantity.Amount   `json:"on_order"`
	LeadDays int               `json:"lead_days"`
}

// Supply is how a roof stands for material, as far as shortages go: board and warnings
// both tell by it what is short.
type Supply struct {
	// Begun tells that material came or work was done.
	Begun bool   `json:"begun"`
	Wants []Want `json:"wants,omitempty"`
}

// SupplyOf reads it out of a job's lines.
func SupplyOf(lines []Line) Supply {
	var s Supply
	for _, l := range lines {
		s.Begun = s.Begun || l.Received.Sign() > 0 || l.UsedImplied.Sign() > 0
		if l.ShortBy.Sign() > 0 {
			s.Wants = append(s.Wants, Want{l.Material, l.Name, l.ShortBy, l.OnHand, l.OnOrder, l.LeadDays})
		}
	}
	return s
}

// With gives the supply with what arrived from other jobs: as SupplyOf of the lines with it.
func (s Supply) With(moves []Move, job events.JobID) Supply {
	with := Supply{Begun: s.Begun}
	for _, w := range s.Wants {
		for _, m := range moves {
			if m.To != job || m.Material != w.Material {
				continue
			}
			hand, err := w.OnHand.Add(m.Amount)
			if err != nil {
				continue // another assembly reckons it in another unit: the ledger says so
			}
			// What is below zero on hand was not part of the shortage: what comes fills it first.
			fills := hand
			switch {
			case w.OnHand.Sign() > 0:
				fills = m.Amount
			case hand.Sign() < 0:
				fills = quantity.Amount{}
			}
			if short, err := w.ShortBy.Sub(fills); err == nil {
				w.OnHand, w.ShortBy = hand, short
			}
		}
		if w.ShortBy.Sign() > 0 {
			with.Wants = append(with.Wants, w)
		}
	}
	return with
}

// Short is of what it is time to speak: everything that is short once the roof is begun;
// before, what has its last day to order near. Now is by the site's clock, start the day on
// which work is to begin, empty when nobody said.
func (s Supply) Short(start string, now time.Time) []Want {
	begins, err := time.ParseInLocation(time.DateOnly, start, now.Location())
	var due []Want
	for _, w := range s.Wants {
		if s.Begun || err == nil && !now.Before(begins.AddDate(0, 0, -w.LeadDays-shortAhead)) {
			due = append(due, w)
		}
	}
	return due
}
