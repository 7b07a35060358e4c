// Package cutlist says what of a job is still to be cut and out of what: the pieces of
// the takeoff less what was cut and fixed, out of the offcuts and whole lengths at hand
// first, and which offcuts of the company's other roofs would spare a new length.
//
// It is pure. A time limit comes as a context with a deadline.
package cutlist

import (
	"context"
	"fmt"
	"slices"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/cutplan"
	"bydark/services/roofjob"
	"bydark/services/takeoff"
)

// Options are what the crew at the saw or shear says. The zero value is a shear, which
// takes nothing, and every offcut is kept.
type Options struct{ Kerf, Keep quantity.Length }

// UsualKeep is the least offcut worth keeping where nobody says another: common practice.
const UsualKeep = 2 * quantity.Foot

// Plan is how what is left of one material is cut.
type Plan struct {
	Material events.MaterialID `json:"material"`
	Name     string            `json:"name"`
	// Stuff tells what it is made of: offcuts of other roofs serve where it is the same.
	Stuff string `json:"stuff"`
	// Pack is what one whole length is called, StockLength how long it is.
	Pack        string          `json:"pack"`
	StockLength quantity.Length `json:"stock_length"`
	// Plan is the plan; absent when nothing is left to cut, or as Note says.
	Plan *cutplan.Answer `json:"plan,omitempty"`
	Note string          `json:"note,omitempty"`
	// WholeAtHand is how many whole lengths lie at the site by the ledger; of the whole
	// lengths that the plan takes, FromHand come from there and ToBuy are missing.
	WholeAtHand int64 `json:"whole_at_hand"`
	FromHand    int64 `json:"from_hand"`
	ToBuy       int64 `json:"to_buy"`
	// Cost is what those to buy cost; empty where the job has no price.
	Cost string `json:"cost,omitempty"`
	// AtHand are the offcuts at the site.
	AtHand []Offcut `json:"offcuts_at_hand"`
	// Pieces are all pieces of the material, with what became of them; Cuts the cuts that
	// were reported.
	Pieces []Piece `json:"pieces"`
	Cuts   []Cut   `json:"cuts"`
	// Waste is what laps take, what was lost so far and what the plan will lose.
	Waste      quantity.Length `json:"waste"`
	WasteBasis string          `json:"waste_basis"`
	// Offers are offcuts on other roofs that fit; together they spare OffersSpare whole
	// lengths.
	Offers      []Offer `json:"offers"`
	OffersSpare int64   `json:"offers_spare"`
	Basis       string  `json:"basis"`

	request cutplan.Request
}

// Request is what the plan answers; the zero value when there is no plan.
func (p *Plan) Request() cutplan.Request { return p.request }

// HidePrices takes all money out of the plan, for whoever may not see prices.
func (p *Plan) HidePrices() {
	p.Cost = ""
	if p.Plan == nil {
		return
	}
	p.Plan.Cost, p.Plan.CostLowerBound = "", ""
	if p.Plan.AngleSaved != nil {
		p.Plan.AngleSaved.Money = ""
	}
}

// Cut is one cut that was reported.
type Cut struct {
	Report events.ReportID  `json:"report"`
	At     time.Time        `json:"at"`
	Piece  events.PieceMark `json:"piece"`
	Length quantity.Length  `json:"length"`
	Kept   quantity.Length  `json:"kept,omitzero"`
	Miscut string           `json:"miscut,omitempty"`
}

// Offer is an offcut on another roof that fits a piece of this one.
type Offer struct {
	Offcut Offcut `json:"offcut"`
	// Spares says that the plan with all offers takes it, and takes fewer whole lengths.
	Spares bool `json:"spares"`
	// SendTo is where Report goes, with an id and a time, once somebody brings it over.
	SendTo string     `json:"send_to"`
	Report MoveReport `json:"report"`
}

// MoveReport is the report that moves an offcut.
type MoveReport struct {
	Type     string            `json:"type"`
	Material events.MaterialID `json:"material"`
	Amount   quantity.Length   `json:"amount"`
	Offcut   string            `json:"offcut"`
	To       events.JobID      `json:"to"`
}

// Of plans one material of a job. onHand is what the ledger says lies at the site, offcuts
// in it; settled are all offcuts of the company. It is false for a material that is not
// cut out of lengths, or of which the roof takes none.
func Of(ctx context.Context, s *roofjob.State, m *assembly.Material, onHand quantity.Length, settled Settled, opt Options) (*Plan, bool, error) {
	if !takeoff.IsCutToLength(m) {
		return nil, false, nil
	}
	p := &Plan{
		Material: m.ID, Name: m.Name, Stuff: s.Stuff(m.ID), Pack: m.Pack.Noun, StockLength: m.Pack.Holds.Length(),
		AtHand: []Offcut{}, Pieces: pieces(s, m), Cuts: []Cut{}, Offers: []Offer{},
	}
	if len(p.Pieces) == 0 {
		return nil, false, nil
	}
	var elsewhere []Offcut
	for _, o := range settled.Lying {
		switch {
		case o.Material != m.ID:
		case o.Job == s.Job:
			p.AtHand = append(p.AtHand, o)
		case o.Stuff == p.Stuff:
			elsewhere = append(elsewhere, o)
		}
	}
	isPanel := m.ID == s.Assembly().Panel.Material
	if isPanel {
		for _, c := range s.Cuts() {
			p.Cuts = append(p.Cuts, Cut{c.Report, c.At, c.Piece, c.Length, c.Kept, c.Miscut})
		}
	}
	rest := p.stock(onHand)
	req := cutplan.Request{Kerf: int64(opt.Kerf), Keep: int64(opt.Keep), Pieces: p.toCut()}
	price, err := priceOf(s, m.ID)
	if err != nil {
		return nil, false, err
	}
	req.Stock = append(req.Stock, cutplan.Stock{Length: int64(p.StockLength), Price: price})
	if isPanel && rest > 0 {
		// What is no whole coil and no offcut is the coil that stands in the machine.
		req.Stock = append(req.Stock, offcut("the "+p.Pack+" in use", rest))
	}
	for _, o := range p.AtHand {
		req.Stock = append(req.Stock, offcut(o.name(), o.Length))
	}
	if err := p.plan(ctx, req, elsewhere, s.Job, price); err != nil {
		return nil, false, err
	}
	p.waste(s, settled)
	return p, true, nil
}

func offcut(id string, length quantity.Length) cutplan.Stock {
	one := int64(1)
	return cutplan.Stock{ID: id, Length: int64(length), Count: &one}
}

func priceOf(s *roofjob.State, id events.MaterialID) (*int64, error) {
	text, ok := s.Opened().Prices[id]
	if !ok {
		return nil, nil
	}
	n, err := cutplan.ParsePrice(text)
	if err != nil {
		return nil, fmt.Errorf("the price of %s: %w", id, err)
	}
	return &n, nil
}

// stock parts what lies at the site into whole lengths and a rest.
func (p *Plan) stock(onHand quantity.Length) (rest quantity.Length) {
	for _, o := range p.AtHand {
		onHand -= o.Length
	}
	onHand = max(onHand, 0)
	p.WholeAtHand = int64(onHand / p.StockLength)
	return onHand % p.StockLength
}

// toCut are the pieces still to be cut, as the strip runs through the machine.
func (p *Plan) toCut() []cutplan.Piece {
	var out []cutplan.Piece
	for _, c := range p.Pieces {
		if c.State == ToCut {
			low, high := c.onStrip()
			out = append(out, cutplan.Piece{Mark: c.Mark, Length: int64(c.Length), Count: 1, Group: string(c.Where), LowRun: int64(low), HighRun: int64(high)})
		}
	}
	return out
}

// plan makes the plan, and another with what other roofs could give.
func (p *Plan) plan(ctx context.Context, req cutplan.Request, elsewhere []Offcut, here events.JobID, price *int64) error {
	if len(req.Pieces) == 0 {
		p.Note = "Nothing of it is left to cut."
		return nil
	}
	if len(req.Stock) > cutplan.MaxStocks || len(req.Pieces) > cutplan.MaxLines {
		p.Note = fmt.Sprintf("%d pieces out of %d kinds of stock: at most %d and %d can be planned at once.", len(req.Pieces), len(req.Stock), cutplan.MaxLines, cutplan.MaxStocks)
		return nil
	}
	answer, err := cutplan.Plan(ctx, req)
	if err != nil {
		return fmt.Errorf("plan the cuts of %s: %w", p.Material, err)
	}
	p.Plan, p.request = answer, req
	p.FromHand = min(answer.NewBars, p.WholeAtHand)
	p.ToBuy = answer.NewBars - p.FromHand
	if price != nil {
		p.Cost = cutplan.PriceText(*price * p.ToBuy)
	}
	p.nameBars()
	p.Basis = p.words()
	return p.offer(ctx, req, elsewhere, here)
}

// nameBars says of every whole length whether it lies at the site; the first ones do.
func (p *Plan) nameBars() {
	whole := quantity.Length(p.StockLength).String()
	n := int64(0)
	for i := range p.Plan.Bars {
		b := &p.Plan.Bars[i]
		if b.Stock != whole {
			continue
		}
		b.Stock = "whole " + p.Pack + ", to buy"
		if n < p.FromHand {
			b.Stock = "whole " + p.Pack + " at the site"
		}
		n++
	}
}

func (p *Plan) words() string {
	proof := "proven fewest"
	if !p.Plan.Proven {
		proof = fmt.Sprintf("not proven fewest: no plan takes fewer than %d bars in all", p.Plan.LowerBound)
	}
	return fmt.Sprintf("%s out of %s of %s (%s) and %s; by the ledger %s at the site, so that %d must be bought.",
		counted(len(p.request.Pieces), "piece"), counted(int(p.Plan.NewBars), "whole "+p.Pack), p.StockLength, proof,
		counted(int(p.Plan.Used-p.Plan.NewBars), "begun one"), counted(int(p.WholeAtHand), "whole "+p.Pack), p.ToBuy)
}

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// offer looks which offcuts of other roofs fit, and what they would spare.
func (p *Plan) offer(ctx context.Context, req cutplan.Request, elsewhere []Offcut, here events.JobID) error {
	shortest := req.Pieces[0].Length
	for _, c := range req.Pieces {
		shortest = min(shortest, c.Length)
	}
	for _, o := range elsewhere {
		if int64(o.Length) < shortest || len(req.Stock) == cutplan.MaxStocks {
			continue
		}
		req.Stock = append(req.Stock[:len(req.Stock):len(req.Stock)], offcut(o.name(), o.Length))
		p.Offers = append(p.Offers, Offer{
			Offcut: o, SendTo: "/v1/jobs/" + string(o.Job) + "/reports",
			Report: MoveReport{"material-moved", p.Material, o.Length, o.ID, here},
		})
	}
	if len(p.Offers) == 0 || p.Plan.NewBars == 0 {
		return nil
	}
	with, err := cutplan.Plan(ctx, req)
	if err != nil {
		return fmt.Errorf("plan the cuts of %s with offcuts of other roofs: %w", p.Material, err)
	}
	if p.OffersSpare = max(p.Plan.NewBars-with.NewBars, 0); p.OffersSpare == 0 {
		return nil
	}
	for i := range p.Offers {
		name := p.Offers[i].Offcut.name()
		p.Offers[i].Spares = slices.ContainsFunc(with.Bars, func(b cutplan.Bar) bool { return b.Stock == name })
	}
	return nil
}

// waste adds up laps, what the reports lost, and what the plan will lose.
func (p *Plan) waste(s *roofjob.State, settled Settled) {
	var laps, lost, planned quantity.Length
	for _, d := range s.Estimate().Demands {
		if d.Material == p.Material {
			laps += d.Laps.Length()
		}
	}
	if len(p.Cuts) > 0 {
		for _, c := range s.Cuts() {
			gone := c.Used
			if was, ok := settled.Used[c.Report]; ok {
				gone = was - c.Kept
			}
			if c.Miscut == "" {
				gone -= c.Length
			}
			lost += max(gone, 0)
		}
	}
	if p.Plan != nil {
		for _, b := range p.Plan.Bars {
			planned += quantity.Length(b.StockLength.N)
			if b.Keep {
				planned -= quantity.Length(b.Offcut.N)
			}
		}
		for _, c := range p.request.Pieces {
			planned -= quantity.Length(c.Length)
		}
		if a := p.Plan.AngleSaved; a != nil {
			planned += quantity.Length(a.Length.N)
		}
	}
	p.Waste = laps + lost + planned
	p.WasteBasis = fmt.Sprintf("laps %s, lost in cuts so far %s, the cut plan loses %s besides offcuts worth keeping", laps.Nearest(16), lost.Nearest(16), planned.Nearest(16))
}

// Source is what a piece comes out of by the plan.
type Source struct {
	// Number is the bar's turn in the plan, from 1; Bar the bar.
	Number int
	Bar    cutplan.Bar
	// Offcut is the offcut's id, where the bar is one at hand.
	Offcut string
	// Whole says that it is a whole length.
	Whole bool
	// Last says that the piece is the last one out of the bar: what is left then is Bar's
	// offcut.
	Last bool
}

// Source finds the bar that the plan cuts a piece from; false when the piece is not among
// those to cut.
func (p *Plan) Source(mark string) (Source, bool) {
	if p.Plan == nil {
		return Source{}, false
	}
	for n, b := range p.Plan.Bars {
		k := slices.Index(b.Pieces, mark)
		if k < 0 {
			continue
		}
		s := Source{Number: n + 1, Bar: b, Whole: quantity.Length(b.StockLength.N) == p.StockLength, Last: k == len(b.Pieces)-1}
		for i := range p.AtHand {
			if p.AtHand[i].name() == b.Stock {
				s.Offcut, s.Whole = p.AtHand[i].ID, false
			}
		}
		return s, true
	}
	return Source{}, false
}
