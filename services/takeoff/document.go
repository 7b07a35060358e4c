package takeoff

import (
	"bydark/events"
	"bydark/events/quantity"
)

// Document is an estimate as it is answered in JSON. Fields whose name ends in a unit are
// plain numbers; the others are exact, with their unit.
type Document struct {
	Roof     string            `json:"roof"`
	Assembly string            `json:"assembly"`
	Planes   []PlaneDocument   `json:"planes"`
	Edges    []EdgeDocument    `json:"edges"`
	Openings []OpeningDocument `json:"openings"`
	Lines    []LineDocument    `json:"lines"`
	// Workings are what each step at each place takes, whose sums the lines are.
	Workings []WorkingDocument `json:"workings"`
	// Changes, Moved and Contradictions are of a job whose roof was measured or drawn anew.
	Changes        []ChangeDocument        `json:"changes,omitempty"`
	Moved          []MoveDocument          `json:"moved,omitempty"`
	Contradictions []ContradictionDocument `json:"contradictions,omitempty"`
	// TooFlat are the planes that are too flat for the assembly and left out: with any, the
	// takeoff is not of the whole roof.
	TooFlat []events.Place `json:"too_flat,omitempty"`
	Notes   []string       `json:"notes"`
	Caution string         `json:"caution"`
}

// PlaneDocument is a plane of a Document.
type PlaneDocument struct {
	Mark        events.Place     `json:"mark"`
	PlanAreaM2  float64          `json:"plan_area_m2"`
	AreaM2      float64          `json:"area_m2"`
	SlopeFactor float64          `json:"slope_factor"`
	HeightMM    float64          `json:"slope_height_mm"`
	Start       string           `json:"start"`
	Shift       quantity.Length  `json:"shift"`
	Starts      []ChoiceDocument `json:"starts"`
	Notes       []string         `json:"notes"`
	Panels      []PanelDocument  `json:"panels"`
}

// ChoiceDocument is what one start of a plane takes.
type ChoiceDocument struct {
	Start    string  `json:"start"`
	Panels   int     `json:"panels"`
	CutMM    float64 `json:"cut_mm"`
	LastMM   float64 `json:"last_cover_mm"`
	OffcutM2 float64 `json:"offcut_m2"`
}

// PanelDocument is a panel of a Document.
type PanelDocument struct {
	Mark       events.PieceMark `json:"mark"`
	CoverMM    float64          `json:"cover_mm"`
	LengthMM   float64          `json:"length_mm"`
	LowEnd     string           `json:"low_end"`
	HighEnd    string           `json:"high_end"`
	LowEdge    events.Place     `json:"low_edge"`
	HighEdge   events.Place     `json:"high_edge"`
	Cover      quantity.Length  `json:"cover"`
	Length     quantity.Length  `json:"length"`
	LowGainMM  float64          `json:"low_gain_mm"`
	HighGainMM float64          `json:"high_gain_mm"`
	LowRunMM   float64          `json:"low_run_mm"`
	HighRunMM  float64          `json:"high_run_mm"`
	LowMM      float64          `json:"low_mm"`
	HighMM     float64          `json:"high_mm"`
	AreaM2     float64          `json:"area_m2"`
	Cutouts    []CutoutDocument `json:"cutouts,omitempty"`
}

// CutoutDocument is a cutout of a panel: from its left seam, and from its lowest place
// without what the end gains.
type CutoutDocument struct {
	Where events.Place    `json:"where"`
	Left  quantity.Length `json:"left"`
	Right quantity.Length `json:"right"`
	Low   quantity.Length `json:"low"`
	High  quantity.Length `json:"high"`
}

// WorkingDocument is what one step at one place takes of one material, and how it was
// reckoned: Net and Laps in the material's unit.
type WorkingDocument struct {
	Where    events.Place      `json:"where"`
	Step     events.StepID     `json:"step"`
	Material events.MaterialID `json:"material"`
	Net      float64           `json:"net"`
	Laps     float64           `json:"laps"`
	Basis    string            `json:"basis"`
}

// EdgeDocument is an edge of a Document. DrainsM2 is the plan area whose rain leaves its
// own plane over the edge, so that all edges add up to the roof; ComesM2 all the plan
// area whose water comes to it, also from planes above.
type EdgeDocument struct {
	Mark     events.Place   `json:"mark"`
	Kind     string         `json:"kind"`
	LengthMM float64        `json:"length_mm"`
	Planes   []events.Place `json:"planes"`
	DrainsM2 float64        `json:"drains_m2"`
	ComesM2  float64        `json:"comes_m2"`
}

// OpeningDocument is an opening or pipe of a Document. RoundMM is the true length of its
// border that is flashed, AboveM2 the plan area whose water comes to its head.
type OpeningDocument struct {
	Mark    events.Place    `json:"mark"`
	Plane   events.Place    `json:"plane"`
	Kind    string          `json:"kind"`
	WidthMM float64         `json:"width_mm"`
	RoundMM float64         `json:"round_mm"`
	ApronMM float64         `json:"apron_mm"`
	SidesMM float64         `json:"sides_mm"`
	HeadMM  float64         `json:"head_mm"`
	AboveM2 float64         `json:"above_m2"`
	Steps   []events.StepID `json:"steps"`
}

// LineDocument is a line of a Document: Net and Waste in Unit, Order in OrderUnit.
type LineDocument struct {
	Material    events.MaterialID `json:"material"`
	Name        string            `json:"name"`
	Unit        string            `json:"unit"`
	Net         float64           `json:"net"`
	Waste       float64           `json:"waste"`
	Order       float64           `json:"order"`
	OrderUnit   string            `json:"order_unit"`
	OrderAmount float64           `json:"order_amount"`
	Basis       string            `json:"basis"`
	Places      []events.Place    `json:"places"`
}

// Caution stands on every page that carries lengths, spacings or amounts.
const Caution = "An aid for people who know the work: check every length on the roof before cutting. Spacings, laps and the ice barrier are the tested system's, the local code's and, where they ask for one, the licensed engineer's to decide."

// Document is the estimate as it is answered.
func (e *Estimate) Document() Document {
	d := Document{
		Roof: e.Roof, Assembly: e.Assembly, Notes: e.Notes, TooFlat: e.TooFlat, Caution: Caution,
		Planes: make([]PlaneDocument, len(e.Planes)), Edges: make([]EdgeDocument, len(e.Edges)), Lines: make([]LineDocument, len(e.Lines)),
		Workings: make([]WorkingDocument, len(e.Demands)),
		Openings: make([]OpeningDocument, len(e.Openings)),
	}
	for i := range e.Planes {
		d.Planes[i] = e.Planes[i].document()
	}
	for i, g := range e.Edges {
		d.Edges[i] = EdgeDocument{g.Mark, g.Kind, g.Length.Millimetres(), g.Planes, g.Sheds.SquareMetres(), g.Drains.SquareMetres()}
	}
	for i := range e.Openings {
		o := &e.Openings[i]
		d.Openings[i] = OpeningDocument{
			Mark: o.Mark, Plane: o.Plane, Kind: o.Kind, WidthMM: o.Width.Millimetres(), RoundMM: o.Round.Millimetres(),
			ApronMM: o.Apron.Millimetres(), SidesMM: o.Sides.Millimetres(), HeadMM: o.Head.Millimetres(), AboveM2: o.Above.SquareMetres(), Steps: []events.StepID{},
		}
		for _, s := range e.StepsAt(o.Mark) {
			d.Openings[i].Steps = append(d.Openings[i].Steps, s.ID)
		}
	}
	for i := range e.Lines {
		l := &e.Lines[i]
		d.Lines[i] = LineDocument{
			l.Material, l.Name, l.Unit, l.Net.Plain(), l.Waste.Plain(), float64(l.Packs), l.OrderUnit, l.Order.Plain(), l.Basis, l.Places,
		}
	}
	for i := range e.Demands {
		w := &e.Demands[i]
		d.Workings[i] = WorkingDocument{w.Place, w.Step, w.Material, w.Net.Plain(), w.Laps.Plain(), w.Basis}
	}
	return d
}

func (p *Plane) document() PlaneDocument {
	d := PlaneDocument{
		Mark: p.Mark, PlanAreaM2: p.PlanArea.SquareMetres(), AreaM2: p.Area.SquareMetres(), SlopeFactor: p.SlopeFactor,
		HeightMM: p.Height.Millimetres(), Start: p.Start, Shift: p.Shift, Notes: p.Notes,
		Panels: make([]PanelDocument, len(p.Panels)),
	}
	for _, c := range p.Choices {
		d.Starts = append(d.Starts, ChoiceDocument{c.Start, c.Panels, c.Cut.Millimetres(), c.Last.Millimetres(), c.Offcut.SquareMetres()})
	}
	for i := range p.Panels {
		q := &p.Panels[i]
		d.Panels[i] = PanelDocument{
			q.Mark, q.Cover.Millimetres(), q.Length.Millimetres(), q.LowEnd, q.HighEnd, q.LowEdge, q.HighEdge, q.Cover, q.Length,
			q.LowGain.Millimetres(), q.HighGain.Millimetres(), q.LowRun.Millimetres(), q.HighRun.Millimetres(), q.Low.Millimetres(), q.High.Millimetres(), q.Area.SquareMetres(), nil,
		}
		for _, c := range q.Cutouts {
			d.Panels[i].Cutouts = append(d.Panels[i].Cutouts, CutoutDocument{c.Place, c.Left, c.Right, c.Low, c.High})
		}
	}
	return d
}
