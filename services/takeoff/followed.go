package takeoff

import (
	"bydark/events"
	"bydark/events/quantity"
)

// ChangeDocument is what changed of one material since the first estimate: First and Now
// net in Unit, orders in OrderUnit.
type ChangeDocument struct {
	Material   events.MaterialID `json:"material"`
	Unit       string            `json:"unit"`
	First      float64           `json:"first"`
	Now        float64           `json:"now"`
	FirstOrder float64           `json:"first_order"`
	NowOrder   float64           `json:"now_order"`
	OrderUnit  string            `json:"order_unit"`
	Why        string            `json:"why"`
}

// MoveDocument is a measure that the estimate follows. Lengths are absent for a slope.
type MoveDocument struct {
	Where    events.Place     `json:"where"`
	Of       string           `json:"of"`
	Drawn    *quantity.Length `json:"drawn,omitempty"`
	Measured *quantity.Length `json:"measured,omitempty"`
}

// ContradictionDocument is a measure that others or the drawing rule out. Lengths are
// absent for a slope.
type ContradictionDocument struct {
	Where   events.Place     `json:"where"`
	Of      string           `json:"of"`
	Says    *quantity.Length `json:"says,omitempty"`
	Implied *quantity.Length `json:"implied,omitempty"`
	Off     *quantity.Length `json:"off,omitempty"`
	With    []events.Place   `json:"with"`
	Words   string           `json:"words"`
}

// Followed is the estimate's document beside the first one: what changed and why, and the
// measures that moved it or contradict. Measured is nil where nothing was measured.
func (e *Estimate) Followed(first *Estimate, measured *Remeasured) Document {
	d := e.Document()
	for _, c := range Compare(first, e) {
		unit := e.unitOf(c.Material)
		if unit == "" {
			unit = first.unitOf(c.Material)
		}
		d.Changes = append(d.Changes, ChangeDocument{
			c.Material, unit, c.First.Plain(), c.Now.Plain(), float64(c.FirstPacks), float64(c.NowPacks), c.OrderUnit, c.Why,
		})
	}
	if measured == nil {
		return d
	}
	length := func(of string, l quantity.Length) *quantity.Length {
		if of == events.OfSlope {
			return nil
		}
		return &l
	}
	for _, m := range measured.Moved {
		d.Moved = append(d.Moved, MoveDocument{m.Place, m.Of, length(m.Of, m.Drawn), length(m.Of, m.Measured)})
	}
	for _, c := range measured.Contradictions {
		d.Contradictions = append(d.Contradictions, ContradictionDocument{
			c.Place, c.Of, length(c.Of, c.Says), length(c.Of, c.Implied), length(c.Of, c.Off), append([]events.Place{}, c.With...), c.Words,
		})
	}
	return d
}

func (e *Estimate) unitOf(material events.MaterialID) string {
	for i := range e.Lines {
		if e.Lines[i].Material == material {
			return e.Lines[i].Unit
		}
	}
	return ""
}
