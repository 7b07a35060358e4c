package cutlist

import (
	"fmt"
	"math"
	"math/big"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/roofjob"
	"bydark/services/takeoff"
)

// What became of a piece.
const (
	ToCut = "to cut"
	IsCut = "cut"
	Fixed = "fixed"
)

// Piece is one piece of the takeoff: a panel, or one length of a trim.
type Piece struct {
	Mark string `json:"mark"`
	// Where is its plane or edge, Step the step that fixes it.
	Where events.Place  `json:"where"`
	Step  events.StepID `json:"step"`
	// Length is what is to be cut. Of a trim of which a part is fixed already, it is the
	// rest of the piece.
	Length quantity.Length `json:"length"`
	// LowEnd and HighEnd say in words how a panel's ends are cut; LowDeg and HighDeg by how
	// many degrees they are off square, above zero when the right seam side lies higher.
	LowEnd  string  `json:"low_end,omitempty"`
	HighEnd string  `json:"high_end,omitempty"`
	LowDeg  float64 `json:"low_deg"`
	HighDeg float64 `json:"high_deg"`
	State   string  `json:"state"`

	lowRun, highRun quantity.Length // as one looks up the slope
	fromRight       bool
}

// onStrip are the runs as the piece comes out of the machine. Where panels are set from
// the right, the leg that hooks over is on the other side, and the strip, whose male leg
// is always on the same side, carries the piece with its high end first: what was its
// right side going up is its left one then, and the run of an end stays what it was while
// the ends change places.
func (p *Piece) onStrip() (low, high quantity.Length) {
	if p.fromRight {
		return p.highRun, p.lowRun
	}
	return p.lowRun, p.highRun
}

// pieces are all pieces of a material, in the order of setting.
func pieces(s *roofjob.State, m *assembly.Material) []Piece {
	var out []Piece
	if m.ID == s.Assembly().Panel.Material {
		out = panels(s)
	}
	steps := map[events.Place]map[events.StepID]roofjob.Step{}
	for _, p := range s.Places() {
		steps[p.Mark] = map[events.StepID]roofjob.Step{}
		for _, step := range p.Steps {
			steps[p.Mark][step.ID] = step
		}
	}
	for i := range s.Estimate().Demands {
		d := &s.Estimate().Demands[i]
		if step := steps[d.Place][d.Step]; d.Material == m.ID && step.Kind != assembly.Panels {
			out = append(out, runOf(d, step, m.Pack.Holds.Length())...)
		}
	}
	return out
}

func panels(s *roofjob.State) []Piece {
	var step events.StepID
	for _, st := range s.Assembly().Plane {
		if st.Kind == assembly.Panels {
			step = st.ID
		}
	}
	var out []Piece
	for i := range s.Estimate().Planes {
		plane := &s.Estimate().Planes[i]
		for k := range plane.Panels {
			q := &plane.Panels[k]
			cover := float64(q.Cover)
			p := Piece{
				Mark: string(q.Mark), Where: plane.Mark, Step: step, Length: q.Length, LowEnd: q.LowEnd, HighEnd: q.HighEnd, State: ToCut,
				LowDeg: degrees(float64(q.LowRun), cover), HighDeg: degrees(float64(q.HighRun), cover),
				lowRun: q.LowRun, highRun: q.HighRun, fromRight: plane.Start == takeoff.FromRight,
			}
			switch cut, set := s.PanelState(q.Mark); {
			case !set.IsZero():
				p.State = Fixed
			case !cut.IsZero():
				p.State = IsCut
			}
			out = append(out, p)
		}
	}
	return out
}

// degrees is the angle of a cut that runs up so much across a width, to a tenth.
func degrees(run, width float64) float64 {
	if run == 0 || width <= 0 {
		return 0
	}
	return math.Round(math.Atan2(run, width)*1800/math.Pi) / 10
}

// runOf are the pieces of one trim at one edge, up to the rule's next mark. What is fixed is taken off from the
// beginning of the run, in the share of the edge that was reported.
func runOf(d *takeoff.Demand, step roofjob.Step, stock quantity.Length) []Piece {
	all := d.Pieces()
	gone := share(all, step.Done.Length(), step.Of.Length())
	out := make([]Piece, 0, len(all))
	for k, l := range all {
		l = min(l.RoundUp(takeoff.Rule), stock)
		p := Piece{Mark: fmt.Sprintf("%s/%s/%d", d.Place, d.Step, k+1), Where: d.Place, Step: d.Step, Length: l, State: ToCut}
		switch {
		case gone >= l-takeoff.Rule:
			p.State = Fixed
		case gone > 0:
			p.Length = (l - gone).RoundUp(takeoff.Rule)
		}
		gone = max(gone-l, 0)
		out = append(out, p)
	}
	return out
}

// share is how much of the pieces goes into a part of the whole.
func share(all []quantity.Length, part, whole quantity.Length) quantity.Length {
	if whole <= 0 || part <= 0 {
		return 0
	}
	sum := new(big.Int)
	for _, l := range all {
		sum.Add(sum, big.NewInt(int64(l)))
	}
	sum.Mul(sum, big.NewInt(int64(min(part, whole)))).Div(sum, big.NewInt(int64(whole)))
	return quantity.Length(sum.Int64())
}

// Ends says in words how the piece's ends are cut; nothing for a trim, which is square.
func (p *Piece) Ends() []string {
	if p.LowEnd == "" {
		return nil
	}
	return []string{"low end " + p.LowEnd, "high end " + p.HighEnd}
}
