// Package cutplan says which piece comes out of which bar: fewest or cheapest bars, proven so or with the proven bound
// stated, offcuts at hand put to use.
//
// Trim lengths, panels off a coil and pipes are all cut from bars; a bar is whatever has one length to cut from. Lengths
// are whole numbers (nanometres, or a unit of the asker's choosing), the kerf of saw or shear included exactly, and no
// bound is believed that was not checked in whole numbers.
//
// The package is pure: no clock, no files, no goroutines. A time limit comes as a context with a deadline.
package cutplan

import (
	"context"

	"bydark/events"
)

// Limits of a request, which bound time and memory whatever comes in.
const (
	MaxBytes   = 8 << 20
	MaxPieces  = 100_000           // pieces of all lines together
	MaxLines   = 5_000             // lines of pieces
	MaxStocks  = 200               // lines of stock
	MaxLength  = 4_000_000_000_000 // of a bar or piece: 4 km in nanometres
	maxPrice   = 1_000_000         // of a bar
	priceParts = 10_000            // a price is kept in ten-thousandths
)

// Request is what to cut and from what. Its lengths are nanometres, or, if Plain, whole numbers in one unit of the
// asker's choosing.
type Request struct {
	Stock  []Stock
	Pieces []Piece
	// Kerf is lost between two pieces, and between the last piece and the offcut.
	Kerf int64
	// Keep is the least offcut worth keeping; zero keeps every one.
	Keep  int64
	Plain bool
}

// Stock is one kind of bar, or offcuts of one length.
type Stock struct {
	// ID names it in the answer; when empty the length does.
	ID     string
	Length int64
	// Count is how many there are; nil is as many as needed.
	Count *int64
	// Price of one bar, in ten-thousandths of whatever money it is; nil when none was given. Counted stock without a
	// price beside other stock is an offcut at hand and costs nothing.
	Price *int64
}

// Piece is one line of the cutting list.
type Piece struct {
	Mark   string
	Length int64
	Count  int64
	// Group is the edge or plane it belongs to; pieces of one group are cut one after the other where that costs nothing.
	Group string
	// LowRun and HighRun say how much further up the strip the right seam side begins, and ends, than the left one, seen
	// from the low end; zero is a square end. Length is then the whole extent of the piece along the strip.
	LowRun, HighRun int64

	chain []Piece // pieces that share their oblique cuts, low end first
}

// Answer is the plan. Used counts all bars, offcuts at hand among them.
type Answer struct {
	Used int64 `json:"used"`
	// LowerBound is the proven least number of bars: the offcuts that this plan uses and the fewest new bars. When
	// proven it equals Used.
	LowerBound int64   `json:"lower_bound"`
	Proven     bool    `json:"proven"`
	WastePct   float64 `json:"waste_pct"`
	// ElapsedMS is filled by whoever holds the clock.
	ElapsedMS float64 `json:"elapsed_ms"`
	// NewBars are those that are no offcuts at hand.
	NewBars int64 `json:"new_bars"`
	// Cost of the new bars and its proven lower bound, when prices were given.
	Cost           string `json:"cost,omitzero"`
	CostLowerBound string `json:"cost_lower_bound,omitzero"`
	// AngleSaved is the length that neighbours save by sharing an oblique cut; absent when none do.
	AngleSaved *AngleSaving `json:"angle_saved,omitzero"`
	Bars       []Bar        `json:"bars"`

	cost int64
}

// AngleSaving is what shared oblique cuts save. Money is reckoned at the price a length of the bars used, when prices
// were given.
type AngleSaving struct {
	Length Measure `json:"length"`
	Feet   float64 `json:"feet,omitzero"`
	Money  string  `json:"money,omitzero"`
}

// Bar is one bar and its pieces in the order they are cut.
type Bar struct {
	Stock       string   `json:"stock"`
	StockLength Measure  `json:"stock_length"`
	Pieces      []string `json:"pieces"`
	// Offcut is what remains behind the last cut, kerf taken off.
	Offcut Measure `json:"offcut"`
	// Keep says that the offcut is long enough to keep.
	Keep bool `json:"keep"`
}

// Plan cuts the pieces from the stock: cheapest new bars first (fewest, when no prices are given; then the least length
// of bars), then the largest single offcut, then pieces of one group together. It ends early when ctx ends and gives the
// best plan so far. For the same request it gives the same answer, unless time ran out.
//
// Pieces with angled ends that can share an oblique cut are laid so where that takes no more bars (see nest.go); Proven
// and LowerBound then speak of the pieces as they were joined.
//
// It refuses with an *events.Refusal what cannot be cut: sizes that are not above zero, counts beyond the limits, a piece
// longer than every bar, prices on some kinds of new bar only, less stock than the pieces need.
func Plan(ctx context.Context, req Request) (*Answer, error) { return Watched(ctx, req, nil) }

// Watched is Plan, and tells watch of each better plan and bound as they are found. watch may be nil; it runs in the
// caller's goroutine and holds the search up while it runs.
func Watched(ctx context.Context, req Request, watch func(Progress)) (*Answer, error) {
	if err := req.check(); err != nil {
		return nil, err
	}
	stop := func() bool { return ctx.Err() != nil }
	var nested *Answer
	if q, saved := joined(&req, nest(&req)); saved > 0 {
		t := newTask(&q)
		// Joined blanks may be too long for the stock there is; the single pieces then still may not.
		if r, err := t.run(stop, watch); err == nil {
			nested = t.answer(r)
			nested.withSaving(&req, saved)
		}
	}
	t := newTask(&req)
	r, err := t.run(stop, watch)
	if err != nil {
		if nested != nil {
			return nested, nil
		}
		return nil, err
	}
	plain := t.answer(r)
	if nested != nil && nested.cost <= plain.cost {
		return nested, nil
	}
	return plain, nil
}

func refuse(code, where, was, want string) error {
	return &events.Refusal{Code: code, Where: where, Was: was, Want: want}
}
