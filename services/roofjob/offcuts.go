package roofjob

import (
	"fmt"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/takeoff"
)

// What becomes of an offcut.
const (
	OffcutKept  = "kept"
	OffcutUsed  = "used"
	OffcutMoved = "moved"
)

// OffcutTurn is one turn in the life of an offcut, as one job's reports tell it. Where an
// offcut lies follows from the turns of all the company's jobs together.
type OffcutTurn struct {
	What     string          `json:"what"`
	At       time.Time       `json:"at"`
	Recorded time.Time       `json:"recorded"`
	Report   events.ReportID `json:"report"`
	// Offcut is the offcut's id when it is kept; used or moved, what the report called it:
	// its id or its length.
	Offcut   string            `json:"offcut"`
	Material events.MaterialID `json:"material"`
	// Stuff is what it is made of, for whoever would use it on another roof: see stuff.
	Stuff string `json:"stuff"`
	// Length is what was kept, or moved; zero when it was used.
	Length quantity.Length `json:"length"`
	// Of is the piece or the place that it is left over from, or was used for.
	Of string `json:"of,omitempty"`
	// To is the job that it moved to.
	To events.JobID `json:"to,omitempty"`
}

// OffcutTurns are all that the job's reports say of offcuts, in the order in which things
// happened.
func (s *State) OffcutTurns() []OffcutTurn { return s.history().offcuts }

// Stuff says what a material of this job is made of, as far as is known: two jobs' offcuts
// of one material serve each other where it is the same.
func (s *State) Stuff(id events.MaterialID) string { return s.now.stuff(id) }

// stuff names the material, what tells its metal apart, and the job's colour.
func (f *fold) stuff(id events.MaterialID) string {
	a := f.drawing.assembly
	said := fmt.Sprintf("%s of %s %s", id, a.Panel.Thickness, a.Panel.Metal)
	if m, ok := a.Material(id); ok && m.Width > 0 {
		said += fmt.Sprintf(", %s wide", m.Width)
	}
	if id == a.Panel.Material {
		said += fmt.Sprintf(", covering %s with a seam of %s", a.Panel.Cover, a.Panel.Seam)
	}
	if f.opened.Colour != "" {
		said += ", " + f.opened.Colour
	}
	return said
}

func (f *fold) turn(e events.Event, t OffcutTurn) {
	if f.told == nil || f.drawing == nil || f.opened == nil {
		return
	}
	t.At, t.Recorded, t.Report = e.At, e.Recorded, e.ID
	t.Stuff = f.stuff(t.Material)
	f.told.offcuts = append(f.told.offcuts, t)
}

// applyOffcuts notes what a report says of offcuts.
func (f *fold) applyOffcuts(e events.Event) {
	if f.drawing == nil {
		return
	}
	switch b := e.Body.(type) {
	case events.PanelCut:
		metal := f.drawing.assembly.Panel.Material
		if b.From.Offcut != "" {
			f.turn(e, OffcutTurn{What: OffcutUsed, Offcut: b.From.Offcut, Material: metal, Of: string(b.Piece)})
		}
		if b.Offcut != nil && *b.Offcut > 0 {
			f.turn(e, OffcutTurn{What: OffcutKept, Offcut: string(e.ID), Material: metal, Length: *b.Offcut, Of: string(b.Piece)})
		}
	case events.TrimInstalled:
		id, ok := f.drawing.offcutMaterial(b)
		if !ok {
			return // only where the drawing changed under the report
		}
		of := string(b.Where) + "/" + string(b.Step)
		for _, name := range b.FromOffcuts {
			f.turn(e, OffcutTurn{What: OffcutUsed, Offcut: name, Material: id, Of: of})
		}
		for i, l := range b.Offcuts {
			f.turn(e, OffcutTurn{What: OffcutKept, Offcut: offcutID(e.ID, i), Material: id, Length: l, Of: of})
		}
	case events.MaterialMoved:
		m, ok := f.drawing.assembly.Material(b.Material)
		if !ok || !takeoff.IsCutToLength(m) {
			return
		}
		length := f.own(b.Material, b.Amount).Length()
		name := b.Offcut
		if name == "" && length < m.Pack.Holds.Length() {
			name = length.String() // no whole length: an offcut, if one of that length lies here
		}
		if name != "" {
			f.turn(e, OffcutTurn{What: OffcutMoved, Offcut: name, Material: b.Material, Length: length, To: b.To})
		}
	}
}

// offcutID is the id of the report that kept it; the second of one report and those after
// it are numbered.
func offcutID(report events.ReportID, i int) string {
	if i == 0 {
		return string(report)
	}
	return fmt.Sprintf("%s.%d", report, i+1)
}

// offcutMaterial is what the offcuts of a trim are of: the material said, or the only one
// of the step's that comes in lengths.
func (w *drawing) offcutMaterial(b events.TrimInstalled) (events.MaterialID, bool) {
	var all []events.MaterialID
	step, _, _ := w.step(b.Where, b.Step)
	for _, u := range step.Uses {
		if m, ok := w.assembly.Material(u.Material); ok && u.Per == assembly.PerLength && takeoff.IsCutToLength(m) {
			if u.Material == b.Material {
				return u.Material, true
			}
			all = append(all, u.Material)
		}
	}
	if len(all) == 1 && b.Material == "" {
		return all[0], true
	}
	return "", false
}

// trimInstalled is an edge's step, and what it says of offcuts.
func (d *decision) trimInstalled(b events.TrimInstalled) error {
	if err := d.atEdge(b.Where, b.Step, amountOf(b.Amount), b.Reason); err != nil {
		return err
	}
	if len(b.Offcuts) == 0 && len(b.FromOffcuts) == 0 && b.Material == "" {
		return nil
	}
	if len(b.Offcuts)+len(b.FromOffcuts) > 100 {
		return &events.Refusal{Code: "too-many", Where: "/offcuts", Was: fmt.Sprint(len(b.Offcuts) + len(b.FromOffcuts)), Want: "100 offcuts at most, kept and used together"}
	}
	w := d.s.now.drawing
	id, ok := w.offcutMaterial(b)
	if !ok {
		return &events.Refusal{Code: "offcuts-of-what", Where: "/material", Was: clip(string(b.Material)), Want: "the material of the step that comes in lengths and that the offcuts are of"}
	}
	for i, name := range b.FromOffcuts {
		if err := text(fmt.Sprintf("/from_offcuts/%d", i), name, true); err != nil {
			return err
		}
	}
	m, _ := w.assembly.Material(id)
	for i, l := range b.Offcuts {
		if most := m.Pack.Holds.Length(); l <= 0 || l > most {
			return &events.Refusal{Code: "impossible", Where: fmt.Sprintf("/offcuts/%d", i), Was: l.String(), Want: "a length above zero, at most " + most.String()}
		}
	}
	return nil
}
