// Package burn holds what a material's use so far says about its end: earned value, the
// forecast at completion, and when to order. It is pure; quantities come as plain
// numbers in one unit of the caller's choosing.
package burn

import (
	"fmt"
	"math"

	"bydark/events"
)

func outOfRange(where string, was float64, want string) error {
	return &events.Refusal{Code: "out-of-range", Where: where, Was: fmt.Sprint(was), Want: want}
}

// Earned is one material's account in the letters of earned value: BAC the budget at
// completion, EV what the work done should have used, AC what it did use.
type Earned struct{ BAC, EV, AC float64 }

// MuteBelow is the share of the work under which a forecast from the ratio alone is not
// worth showing: 15 %, US Navy earned value lecture slides.
const MuteBelow = 0.15

// valid refuses what no account can be.
func (e Earned) valid() error {
	switch {
	case !(e.BAC > 0) || math.IsInf(e.BAC, 0):
		return outOfRange("bac", e.BAC, "a budget above zero")
	case !(e.EV > 0) || math.IsInf(e.EV, 0):
		return outOfRange("ev", e.EV, "work earned above zero: before the first work there is no forecast")
	case !(e.AC > 0) || math.IsInf(e.AC, 0):
		return outOfRange("ac", e.AC, "a use above zero")
	}
	return nil
}

// Forecast is what an account says about its end, in the account's unit.
type Forecast struct {
	CPI  float64 // earned per used; below 1 burns more than the work should
	EAC  float64 // use at completion if the ratio stays
	ETC  float64 // still to be used
	VAC  float64 // budget less EAC; negative is short
	TCPI float64 // ratio needed from now on to end in budget; +Inf when the budget is gone
}

// Forecast gives, after the Defense Acquisition University's earned value card:
//
//	CPI = EV/AC, EAC = BAC/CPI, ETC = EAC − AC, VAC = BAC − EAC,
//	TCPI = (BAC − EV)/(BAC − AC)
//
// It holds between about 15 and 85 % of the work. A number that cannot be is an *events.Refusal.
func (e Earned) Forecast() (Forecast, error) {
	if err := e.valid(); err != nil {
		return Forecast{}, err
	}
	cpi := e.EV / e.AC
	f := Forecast{CPI: cpi, EAC: e.BAC / cpi, TCPI: math.Inf(1)}
	f.ETC, f.VAC = f.EAC-e.AC, e.BAC-f.EAC
	if e.AC < e.BAC {
		f.TCPI = (e.BAC - e.EV) / (e.BAC - e.AC)
	}
	return f, nil
}

// ReorderPoint is the stock at which to order so that it lasts till delivery: the use
// over the lead time and a safety stock, rate × lead + safety, in the rate's unit. Order
// when what is on hand and on the way falls to it. Heizer and Render, Operations
// Management, chapter 12.
func ReorderPoint(ratePerDay, leadDays, safety float64) float64 {
	return ratePerDay*leadDays + safety
}

// SafetyStock is z times the spread of the use over the lead time:
//
//	z · sqrt(lead · sd_rate² + rate² · sd_lead²)
//
// with z 1.28, 1.645 or 1.88 for 90, 95 or 97 % of deliveries met. Heizer and Render,
// equations 12-14 to 12-16; days independent and nearly normal.
func SafetyStock(z, ratePerDay, rateSD, leadDays, leadSD float64) float64 {
	return z * math.Sqrt(leadDays*rateSD*rateSD+ratePerDay*ratePerDay*leadSD*leadSD)
}

// WholeDays is for how many whole days from now a stock lasts at a steady use, none for
// none; false where nothing tells the use.
func WholeDays(stock, perDay float64) (int, bool) {
	if !(perDay > 0) || math.IsNaN(stock) || math.IsInf(stock, 0) {
		return 0, false
	}
	const mostDays = 36_500 // a hundred years: later is never
	return int(math.Min(mostDays, math.Floor(math.Max(0, stock)/perDay+1e-9))), true
}
