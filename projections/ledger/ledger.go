// Package ledger is the view of a job's material: estimated against ordered, received
// and used, what lies at the site, and what will run short.
package ledger

import (
	"fmt"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections"
	"bydark/services/assembly"
	"bydark/services/cutlist"
	"bydark/services/roofjob"
	"bydark/services/takeoff"
)

// Line is one material of a job, all amounts in the material's own unit.
type Line struct {
	Job      events.JobID      `json:"job"`
	Material events.MaterialID `json:"material"`
	Name     string            `json:"name"`
	Unit     string            `json:"unit"`
	// Pack is what it is bought in, PackHolds how much is in one.
	Pack      string          `json:"pack,omitempty"`
	PackHolds quantity.Amount `json:"pack_holds,omitzero"`
	// EstimatedFirst and EstimatedNow are net takeoffs, Order the takeoff of now in
	// whole packs. Changed says why they differ, place by place.
	EstimatedFirst quantity.Amount `json:"estimated_first"`
	EstimatedNow   quantity.Amount `json:"estimated_now"`
	Changed        string          `json:"estimate_changed,omitempty"`
	Order          quantity.Amount `json:"order"`
	Ordered        quantity.Amount `json:"ordered"`
	Received       quantity.Amount `json:"received"`
	// Arrived came from other jobs; MovedOut went to them.
	Arrived  quantity.Amount `json:"arrived"`
	MovedOut quantity.Amount `json:"moved_out"`
	Short    quantity.Amount `json:"short"`
	Damaged  quantity.Amount `json:"damaged"`
	Spoiled  quantity.Amount `json:"spoiled"`
	Returned quantity.Amount `json:"returned"`
	// UsedReported is what cuts tell, absent where nothing tells it; UsedImplied is
	// what the steps done should have taken: the earned amount.
	UsedReported *quantity.Amount `json:"used_reported,omitempty"`
	UsedImplied  quantity.Amount  `json:"used_implied"`
	// Behind is what of the takeoff takes no more of it: UsedImplied, and of what is cut by
	// the piece also the pieces that are cut and not fixed yet.
	Behind quantity.Amount `json:"behind"`
	// CutNet is what the pieces that were cut well take by the takeoff; absent where no cut
	// tells.
	CutNet *quantity.Amount `json:"cut_net,omitempty"`
	// OnHand is what should lie at the site, corrected by the last count.
	OnHand quantity.Amount `json:"on_hand"`
	// Counted is the last count, Difference what it found above (or below zero) what
	// should have been there.
	Counted    *quantity.Amount `json:"counted,omitempty"`
	CountedAt  time.Time        `json:"counted_at,omitzero"`
	Difference *quantity.Amount `json:"counted_difference,omitempty"`
	// BurnRatio is used over earned, which for what cuts tell is CutNet; zero while nothing
	// was earned.
	BurnRatio float64 `json:"burn_ratio,omitempty"`
	// Remaining is what the work still to do takes, net; OnOrder what was ordered and
	// has not come; ShortBy what will be missing if nothing more is ordered. What is on hand
	// below zero is a delivery or a count that was not reported, and orders nothing.
	Remaining quantity.Amount `json:"remaining"`
	OnOrder   quantity.Amount `json:"on_order"`
	ShortBy   quantity.Amount `json:"short_by"`
	// ToOrder is ShortBy in whole packs.
	ToOrder  quantity.Amount `json:"to_order"`
	LeadDays int             `json:"lead_days"`
	// Awaited are the orders of which something is still to come.
	Awaited []Awaited `json:"awaited,omitempty"`
	// PerDay is what the work took a day, over the UsedDays days from the first to the last
	// that took some, all counted; absent before the first.
	PerDay   *quantity.Amount `json:"per_day,omitempty"`
	UsedDays int              `json:"used_days,omitempty"`
	Basis    string           `json:"basis"`
	// Waste is what is lost beside the net: of what is cut out of lengths, by the cut plan;
	// of the rest, by the takeoff. WasteBasis says how it was reckoned.
	Waste      quantity.Amount `json:"waste"`
	WasteBasis string          `json:"waste_basis"`
}

// Awaited is what is still to come of an order, and when it was promised.
type Awaited struct {
	Order  string          `json:"order"`
	Amount quantity.Amount `json:"amount"`
	Due    string          `json:"due,omitempty"`
}

// Oddity is something in the reports that does not fit.
type Oddity struct {
	Report events.ReportID `json:"report"`
	At     time.Time       `json:"at"`
	Where  events.Place    `json:"where"`
	What   string          `json:"what"`
}

// Move is material that went to another job.
type Move struct {
	Report   events.ReportID   `json:"report"`
	At       time.Time         `json:"at"`
	Recorded time.Time         `json:"recorded"`
	From     events.JobID      `json:"from"`
	To       events.JobID      `json:"to"`
	Material events.MaterialID `json:"material"`
	Amount   quantity.Amount   `json:"amount"`
}

// The view has four tables: a job's lines, its oddities, what it sent elsewhere, and what
// its reports say of offcuts.
var (
	Lines    = projections.Documents[*roofjob.State, Line]{Table: "ledger", Meaning: 5, Rows: Fold}
	Oddities = projections.Documents[*roofjob.State, Oddity]{Table: "oddities", Meaning: 4, Rows: FoldOddities}
	Moves    = projections.Documents[*roofjob.State, Move]{Table: "moves", Meaning: 1, Rows: FoldMoves}
	Offcuts  = projections.Documents[*roofjob.State, cutlist.Turn]{Table: "offcuts", Meaning: 1, Rows: cutlist.Turns}
)

// Fold makes a job's lines, arrivals from other jobs left out: With adds them.
func Fold(s *roofjob.State) ([]Line, error) {
	a := s.Assembly()
	if a == nil {
		return nil, nil
	}
	why := map[events.MaterialID]string{}
	for _, c := range s.Changes() {
		why[c.Material] = c.Why
	}
	site, err := time.LoadLocation(s.Opened().Site.Zone)
	if err != nil {
		site = time.UTC // a roof whose zone is not known goes by UTC everywhere
	}
	var lines []Line
	for i := range a.Materials {
		line, err := fold(s, &a.Materials[i], site)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", a.Materials[i].ID, err)
		}
		line.Changed = why[line.Material]
		lines = append(lines, line)
	}
	return lines, nil
}

func fold(s *roofjob.State, m *assembly.Material, site *time.Location) (Line, error) {
	none := roofjob.FromSmallest(m, 0)
	or := func(a quantity.Amount) quantity.Amount {
		if a == (quantity.Amount{}) {
			return none
		}
		return a
	}
	moved := s.Movement(m.ID)
	use, err := s.Used(m.ID)
	if err != nil {
		return Line{}, err
	}
	line := Line{
		Job: s.Job, Material: m.ID, Name: m.Name, Unit: m.Unit, Pack: m.Pack.Noun, PackHolds: m.Pack.Holds,
		EstimatedFirst: or(net(s.First(), m.ID)), EstimatedNow: or(net(s.Estimate(), m.ID)),
		Ordered: or(moved.Ordered), Received: or(moved.Received), Arrived: none, MovedOut: or(moved.MovedOut), Short: or(moved.Short),
		Damaged: or(moved.Damaged), Spoiled: or(moved.Spoiled), Returned: or(moved.Returned), UsedImplied: or(use.Implied), Behind: or(use.Behind),
		LeadDays: m.LeadDays, Order: none, Waste: none, Basis: "The assembly uses none of it on this roof.",
	}
	if days, ok := s.Opened().LeadDays[m.ID]; ok {
		line.LeadDays = days
	}
	for _, l := range s.Estimate().Lines {
		if l.Material == m.ID {
			line.Order, line.Basis = l.Order, l.Basis
			line.Waste, line.WasteBasis = or(l.Waste), "laps and offcuts by the takeoff"
		}
	}
	earned := use.Implied
	if use.Told {
		earned = or(use.Cut)
		line.UsedReported, line.CutNet = &use.Reported, &earned
	}
	if line.OnHand, err = s.Expected(m.ID); err != nil {
		return Line{}, err
	}
	line.OnHand = or(line.OnHand)
	if !moved.CountedAt.IsZero() {
		difference, err := moved.Counted.Sub(moved.Expected)
		if err != nil {
			return Line{}, err
		}
		difference = or(difference)
		line.Counted, line.CountedAt, line.Difference = &moved.Counted, moved.CountedAt, &difference
		if line.OnHand, err = line.OnHand.Add(difference); err != nil {
			return Line{}, err
		}
	}
	if earned.Sign() > 0 {
		line.BurnRatio = use.Taken().Plain() / earned.Plain()
	}
	for _, o := range s.Awaited(m.ID) {
		line.Awaited = append(line.Awaited, Awaited{o.Number, o.Amount, o.Due})
	}
	if line.PerDay, line.UsedDays, err = pace(use, site); err != nil {
		return Line{}, err
	}
	return line, line.outlook()
}

// outlook reckons what is still to come and what will be missing.
func (l *Line) outlook() error {
	var err error
	if l.Remaining, err = notBelowZero(l.EstimatedNow.Sub(l.Behind)); err != nil {
		return err
	}
	come, err := l.Received.Add(l.Short)
	if err == nil {
		come, err = come.Add(l.Damaged)
	}
	if err != nil {
		return err
	}
	if l.OnOrder, err = notBelowZero(l.Ordered.Sub(come)); err != nil {
		return err
	}
	have, err := notBelowZero(l.OnHand, nil)
	if err == nil {
		have, err = have.Add(l.OnOrder)
	}
	if err != nil {
		return err
	}
	if l.ShortBy, err = notBelowZero(l.Remaining.Sub(have)); err != nil {
		return err
	}
	m := assembly.Material{Unit: l.Unit, Pack: assembly.Pack{Noun: l.Pack, Holds: l.PackHolds}}
	l.ToOrder = m.InPacks(l.ShortBy)
	return nil
}

func notBelowZero(a quantity.Amount, err error) (quantity.Amount, error) {
	if err == nil && a.Sign() < 0 {
		return a.Sub(a)
	}
	return a, err
}

// With gives the lines of a job with what arrived from other jobs.
func With(lines []Line, moves []Move, job events.JobID) ([]Line, error) {
	for i := range lines {
		l := &lines[i]
		for _, m := range moves {
			if m.To != job || m.Material != l.Material {
				continue
			}
			arrived, err := l.Arrived.Add(m.Amount)
			if err != nil {
				// Another assembly may reckon the material in another unit.
				l.Basis += fmt.Sprintf(" %s came from %s and is in another unit: count it.", m.Amount, m.From)
				continue
			}
			l.Arrived = arrived
			if l.OnHand, err = l.OnHand.Add(m.Amount); err != nil {
				return nil, err
			}
		}
		if err := l.outlook(); err != nil {
			return nil, err
		}
	}
	return lines, nil
}

// FoldOddities lists what does not fit in the reports.
func FoldOddities(s *roofjob.State) ([]Oddity, error) {
	var rows []Oddity
	for _, o := range s.Oddities() {
		rows = append(rows, Oddity{o.Report, o.At, o.Where, o.What})
	}
	return rows, nil
}

// FoldMoves lists what the job sent elsewhere.
func FoldMoves(s *roofjob.State) ([]Move, error) {
	var rows []Move
	for _, m := range s.Moves() {
		rows = append(rows, Move{m.Report, m.At, m.Recorded, s.Job, m.To, m.Material, m.Amount})
	}
	return rows, nil
}

func net(e *takeoff.Estimate, id events.MaterialID) quantity.Amount {
	for _, l := range e.Lines {
		if l.Material == id {
			return l.Net
		}
	}
	return quantity.Amount{}
}
