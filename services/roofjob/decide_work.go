package roofjob

import (
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

func amountOf(a *quantity.Amount) quantity.Amount {
	if a == nil {
		return quantity.Amount{}
	}
	return *a
}

func (d *decision) deckOpened(b events.DeckOpened) error {
	if err := first(d.place("/where", b.Where), text("/reason", b.Reason, false)); err != nil {
		return err
	}
	if b.Where == events.WholeRoof {
		if b.Amount != nil {
			return &events.Refusal{Code: "amount-of-what", Where: "/amount", Was: b.Amount.String(), Want: "the mark of one plane, or no amount"}
		}
		return nil
	}
	if !d.s.now.drawing.isPlane(b.Where) {
		return d.notPlane(b.Where)
	}
	return d.fits(b.Amount, d.s.now.extent(b.Where, ""), b.Reason)
}

func (d *decision) notPlane(where events.Place) error {
	return &events.Refusal{Code: "not-a-plane", Where: "/where", Was: clip(string(where)), Want: "one of the planes " + d.marks(func(k string) bool { return k == assembly.PlaneKind })}
}

func (d *decision) layerLaid(b events.LayerLaid) error {
	if err := first(d.place("/where", b.Where), text("/reason", b.Reason, false)); err != nil {
		return err
	}
	if b.Where == events.WholeRoof {
		return d.notPlane(b.Where)
	}
	targets := d.s.now.targets(b.Where, b.Step)
	var whole quantity.Amount
	for _, place := range targets {
		step, _, ok := d.s.now.drawing.step(place, b.Step)
		if !ok || step.Kind != assembly.Layer {
			return d.unknownStep(b.Where, b.Step, assembly.Layer)
		}
		sum, err := whole.Add(d.s.now.extent(place, b.Step))
		if err != nil {
			return err
		}
		whole = sum
	}
	if len(targets) == 0 {
		return d.unknownStep(b.Where, b.Step, assembly.Layer)
	}
	return d.fits(b.Amount, whole, b.Reason)
}

// unknownStep tells which steps of the kinds a place has.
func (d *decision) unknownStep(where events.Place, step events.StepID, kinds ...string) error {
	var steps []string
	for _, s := range d.s.now.drawing.steps(where) {
		for _, k := range kinds {
			if s.Kind == k {
				steps = append(steps, string(s.ID))
			}
		}
	}
	want := "a place that has such steps"
	if len(steps) > 0 {
		want = "one of " + strings.Join(steps, ", ")
	}
	return &events.Refusal{Code: "unknown-step", Where: "/step", Was: clip(string(step)), Want: want + ", as the assembly " + d.s.Assembly().Name + " has at " + clip(string(where))}
}

// fits refuses an amount in another unit than the step's, one that is not above zero,
// and one beyond the whole of it without a word on why.
func (d *decision) fits(said *quantity.Amount, whole quantity.Amount, reason string) error {
	if said == nil {
		return nil
	}
	beyond, err := said.Cmp(whole)
	switch {
	case err != nil:
		return &events.Refusal{Code: "wrong-unit", Where: "/amount", Was: said.String(), Want: "an amount like " + whole.String() + ", the whole of it"}
	case said.Sign() <= 0:
		return &events.Refusal{Code: "not-above-zero", Where: "/amount", Was: said.String(), Want: "an amount above zero"}
	case beyond > 0 && strings.TrimSpace(reason) == "":
		return &events.Refusal{Code: "more-than-there-is", Where: "/amount", Was: said.String(), Want: "at most " + whole.String() + ", or a reason for more"}
	}
	return nil
}

func (d *decision) atEdge(where events.Place, id events.StepID, said quantity.Amount, reason string) error {
	if err := first(d.place("/where", where), text("/reason", reason, false)); err != nil {
		return err
	}
	if where == events.WholeRoof || d.s.now.drawing.isPlane(where) {
		return &events.Refusal{Code: "not-an-edge", Where: "/where", Was: clip(string(where)), Want: "one of the edges " + d.marks(func(k string) bool { return k != assembly.PlaneKind })}
	}
	step, _, ok := d.s.now.drawing.step(where, id)
	if !ok || step.Kind != assembly.Trim && step.Kind != assembly.Seal {
		return d.unknownStep(where, id, assembly.Trim, assembly.Seal)
	}
	if said == (quantity.Amount{}) {
		return nil
	}
	return d.fits(&said, d.s.now.extent(where, id), reason)
}

func (d *decision) piece(mark events.PieceMark) error {
	if _, ok := d.s.now.drawing.pieces[mark]; ok {
		return nil
	}
	return &events.Refusal{Code: "unknown-piece", Where: "/piece", Was: clip(string(mark)), Want: "the mark of a panel of this job's takeoff, such as A-01"}
}

func (d *decision) panelCut(b events.PanelCut) error {
	from := 0
	for _, s := range []string{b.From.Stock, b.From.Offcut, b.From.Coil} {
		if s != "" {
			from++
		}
	}
	err := first(d.piece(b.Piece), text("/miscut", b.Miscut, false), text("/from/stock", b.From.Stock, false),
		text("/from/offcut", b.From.Offcut, false), text("/from/coil", b.From.Coil, false))
	switch {
	case err != nil:
		return err
	case from != 1:
		return &events.Refusal{Code: "cut-from-what", Where: "/from", Want: "exactly one of stock, offcut and coil"}
	case b.Length <= 0:
		return &events.Refusal{Code: "not-above-zero", Where: "/length", Was: b.Length.String(), Want: "a length above zero"}
	case b.Length > 100*quantity.Metre:
		return &events.Refusal{Code: "too-long", Where: "/length", Was: b.Length.String(), Want: "a panel of 100 m at most"}
	case b.Offcut != nil && *b.Offcut < 0:
		return &events.Refusal{Code: "not-above-zero", Where: "/offcut", Was: b.Offcut.String(), Want: "the length that was kept, or none"}
	}
	stock, err := quantity.ParseLength(b.From.Stock)
	kept := quantity.Length(0)
	if b.Offcut != nil {
		kept = *b.Offcut
	}
	if b.From.Stock != "" && err == nil && b.Length+kept > stock {
		return &events.Refusal{Code: "more-than-there-is", Where: "/length", Was: (b.Length + kept).String() + " with the offcut", Want: "at most " + stock.String() + ", what it was cut from"}
	}
	return nil
}

func (d *decision) weatherTight(b events.WeatherTightReached) error {
	if err := d.place("/where", b.Where); err != nil {
		return err
	}
	if missing := d.s.MissingTight(b.Where); len(missing) > 0 {
		return &events.Refusal{Code: "not-weather-tight", Where: string(b.Where), Want: "every step at it reported", Missing: missing}
	}
	return nil
}

func (d *decision) dayStarted(b events.DayStarted) error {
	switch {
	case b.Heads < 1 || b.Heads > 200:
		return &events.Refusal{Code: "impossible", Where: "/heads", Was: quantity.Pieces(int64(b.Heads)).String(), Want: "1 to 200 people"}
	case !b.ShiftEnd.After(d.report.At):
		return &events.Refusal{Code: "impossible", Where: "/shift_end", Was: b.ShiftEnd.String(), Want: "a time after the day started"}
	case !b.LeaveBy.IsZero() && (!b.LeaveBy.After(d.report.At) || b.LeaveBy.Sub(d.report.At) > 24*time.Hour):
		return &events.Refusal{Code: "impossible", Where: "/leave_by", Was: b.LeaveBy.String(), Want: "a time after the report, within a day of it"}
	}
	return nil
}

func (d *decision) dayEnded(b events.DayEnded) error {
	for _, place := range b.LeftOpen {
		if err := d.place("/left_open", place); err != nil {
			return err
		}
	}
	left := len(b.LeftOpen) > 0
	return first(text("/accepted_by", b.AcceptedBy, left), text("/reason", b.Reason, left))
}

func (d *decision) measured(b events.MeasureTaken) error {
	if err := first(d.place("/where", b.Where), oneOf("/of", b.Of, events.Measures())); err != nil {
		return err
	}
	want := map[string]int{events.OfLength: 1, events.OfSlopeLength: 1, events.OfDiagonals: 2, events.OfThreeFourFive: 3}[b.Of]
	if n := len(b.Values); n == 0 || n > 100 || want != 0 && n != want {
		return &events.Refusal{Code: "how-many-values", Where: "/values", Was: quantity.Pieces(int64(n)).String(), Want: map[int]string{0: "1 to 100", 1: "one value", 2: "both diagonals", 3: "both legs and the diagonal"}[want]}
	}
	for _, v := range b.Values {
		if err := reading(b.Of, v); err != nil {
			return &events.Refusal{Code: "unreadable-value", Where: "/values", Was: clip(string(v)), Want: err.Error()}
		}
	}
	if t := b.MetalTempC; t != nil && !(*t >= -60 && *t <= 120) {
		return &events.Refusal{Code: "impossible", Where: "/metal_temp_c", Want: "a metal temperature from -60 to 120 °C"}
	}
	return nil
}

func reading(of string, v events.Reading) error {
	var err error
	switch of {
	case events.OfMoisture:
		_, err = percent(v)
	case events.OfSlope:
		_, err = quantity.ParsePitch(string(v))
	default:
		var l quantity.Length
		l, err = quantity.ParseLength(string(v))
		if err == nil && l < 0 {
			err = &quantity.ParseError{Kind: "length", Was: string(v), Why: "it is below zero", Want: "a length not below zero"}
		}
	}
	return err
}
