package record

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"bydark/events"
	"bydark/services/roofjob"
)

// Line is one event in people's words.
type Line struct {
	Sequence uint64          `json:"sequence"`
	ID       events.ReportID `json:"id"`
	Type     string          `json:"type"`
	At       time.Time       `json:"at"`
	Recorded time.Time       `json:"recorded"`
	By       events.PersonID `json:"by"`
	Words    string          `json:"words"`
	// WithdrawnBy is the report that took this one back; empty while it stands.
	WithdrawnBy events.ReportID `json:"withdrawn_by,omitempty"`
	// Digest is the event's, a link of the job's chain.
	Digest string `json:"digest"`
}

// Teller tells a job's events in people's words: by the names of people, materials, checks
// and roofs, and by what reports said, where those are known; by their ids otherwise. It is
// for one reading of one job and not safe for several goroutines.
type Teller struct {
	State  *roofjob.State
	People map[events.PersonID]string
	Roofs  map[events.JobID]string

	checks map[string]string
}

// Line is one event with its sentence. Digest is the event's, a link of the job's chain.
func (t *Teller) Line(e events.Event, digest string) Line {
	return Line{
		Sequence: e.Sequence, ID: e.ID, Type: e.Report(), At: e.At, Recorded: e.Recorded, By: e.By,
		Words: t.Words(e), WithdrawnBy: t.State.Withdrawn(e.ID), Digest: digest,
	}
}

// Words is an event's sentence.
func (t *Teller) Words(e events.Event) string { return t.sentence(e.Body, 0) }

// person is what somebody is called; what was said where it is nobody's id.
func (t *Teller) person(said string) string {
	if name, ok := t.People[events.PersonID(said)]; ok {
		return name
	}
	return said
}

func (t *Teller) material(id events.MaterialID) string {
	if a := t.State.Assembly(); a != nil {
		if m, ok := a.Material(id); ok {
			return m.Name
		}
	}
	return string(id)
}

func (t *Teller) roof(id events.JobID) string {
	if name, ok := t.Roofs[id]; ok {
		return name
	}
	return "the job " + string(id)
}

func (t *Teller) check(id string) string {
	if t.checks == nil {
		t.checks = map[string]string{}
		for _, c := range t.State.Checks() {
			t.checks[c.ID] = fmt.Sprintf("at %s: %s", c.Where, strings.TrimSuffix(c.What, "."))
		}
	}
	if words, ok := t.checks[id]; ok {
		return words
	}
	return id
}

// item is what a loose end is about.
func (t *Teller) item(id events.ReportID) string {
	if i, ok := t.State.Item(id); ok {
		return fmt.Sprintf("%q at %s", strings.TrimSuffix(i.What, "."), i.Where)
	}
	return string(id)
}

// report is what another report said. Reports may name each other in a circle: phones make
// their ids, so only the first names what the second said.
func (t *Teller) report(id events.ReportID, depth int) string {
	e, ok := t.State.Event(id)
	if !ok || depth > 0 {
		return string(id)
	}
	words := strings.TrimSuffix(t.sentence(e.Body, depth+1), ".")
	if by, ok := t.People[e.By]; ok {
		words += ", by " + by
	}
	return fmt.Sprintf("%q (%s)", words, t.at(e.At, "2 Jan 15:04"))
}

// at is a time by the clocks of the site.
func (t *Teller) at(when time.Time, layout string) string {
	if opened := t.State.Opened(); opened != nil {
		if zone, err := time.LoadLocation(opened.Site.Zone); err == nil {
			when = when.In(zone)
		}
	}
	return when.Format(layout + " MST")
}

func (t *Teller) sentence(body events.Body, depth int) string {
	switch b := body.(type) {
	case events.JobOpened:
		return fmt.Sprintf("Job opened: %s.", b.Name)
	case events.RoofDrawn:
		return "Roof drawn anew: " + b.Reason + "."
	case events.AssemblyChosen:
		return "Another assembly chosen: " + b.Reason + "."
	case events.EstimateIssued:
		return "Estimate issued." + because(b.Reason)
	case events.CrewPlanned:
		return fmt.Sprintf("Crew of %d planned from %s, %d minutes a day.", b.Heads, b.From, b.ShiftMinutes)
	case events.JobClosed:
		return "Job closed." + because(b.Reason)
	case events.JobReopened:
		return "Job opened again." + because(b.Reason)
	case events.MeasureTaken:
		return fmt.Sprintf("Measured %s at %s: %s.", b.Of, b.Where, list(b.Values))
	case events.DeckOpened:
		return fmt.Sprintf("Deck opened on %s%s.%s", b.Where, howMuch(b.Amount), because(b.Reason))
	case events.LayerLaid:
		return fmt.Sprintf("%s laid on %s%s.%s", b.Step, b.Where, howMuch(b.Amount), because(b.Reason))
	case events.PanelCut:
		return panelCut(b)
	case events.PanelSet:
		return fmt.Sprintf("Panel %s set.", b.Piece)
	case events.TrimInstalled:
		return fmt.Sprintf("%s installed at %s%s.%s%s", b.Step, b.Where, howMuch(b.Amount), offcuts(b), because(b.Reason))
	case events.SealMade:
		return fmt.Sprintf("%s sealed at %s%s.%s", b.Step, b.Where, howMuch(b.Amount), because(b.Reason))
	case events.CoverPlaced:
		return fmt.Sprintf("Cover placed over %s.", b.Where)
	case events.CoverRemoved:
		return fmt.Sprintf("Cover taken off %s.", b.Where)
	case events.WeatherTightReached:
		return fmt.Sprintf("%s said to be weather-tight.", b.Where)
	case events.DayStarted:
		words := fmt.Sprintf("Day started with %d people, shift until %s", b.Heads, t.at(b.ShiftEnd, "15:04"))
		if !b.LeaveBy.IsZero() {
			words += fmt.Sprintf(", everybody off the roof by %s", t.at(b.LeaveBy, "15:04"))
		}
		return words + "."
	case events.DayEnded:
		if len(b.LeftOpen) == 0 {
			return "Day ended; nothing was named as left open."
		}
		return fmt.Sprintf("Day ended; left open: %s; accepted by %s.%s", list(b.LeftOpen), t.person(b.AcceptedBy), because(b.Reason))
	case events.CheckSigned:
		return fmt.Sprintf("Check signed %s.", t.check(b.Check))
	case events.ReportWithdrawn:
		return fmt.Sprintf("Withdrawn: %s.%s", t.report(b.Report, depth), because(b.Reason))
	case events.PhotoAttached:
		return fmt.Sprintf("Picture attached to %s.", t.report(b.To, depth))
	}
	return t.otherwise(body)
}

func (t *Teller) otherwise(body events.Body) string {
	switch b := body.(type) {
	case events.MaterialOrdered:
		var parts []string
		for _, l := range b.Lines {
			parts = append(parts, fmt.Sprintf("%s of %s", l.Amount, t.material(l.Material)))
		}
		return fmt.Sprintf("Ordered, order %s: %s.", b.Order, strings.Join(parts, ", "))
	case events.MaterialReceived:
		var parts []string
		for _, l := range b.Lines {
			part := fmt.Sprintf("%s of %s", l.Amount, t.material(l.Material))
			if l.Short != nil {
				part += fmt.Sprintf(" (%s short)", l.Short)
			}
			if l.Damaged != nil {
				part += fmt.Sprintf(" (%s damaged)", l.Damaged)
			}
			parts = append(parts, part)
		}
		on := ""
		if b.Order != "" {
			on = ", order " + b.Order
		}
		return "Received" + on + ": " + strings.Join(parts, ", ") + "."
	case events.MaterialMoved:
		if b.Offcut != "" {
			return fmt.Sprintf("%s of %s, the offcut %s, moved to %s.", b.Amount, t.material(b.Material), b.Offcut, t.roof(b.To))
		}
		return fmt.Sprintf("%s of %s moved to %s.", b.Amount, t.material(b.Material), t.roof(b.To))
	case events.MaterialCounted:
		return fmt.Sprintf("Counted %s of %s.%s", b.Amount, t.material(b.Material), because(b.Reason))
	case events.MaterialSpoiled:
		return fmt.Sprintf("%s of %s spoiled.%s", b.Amount, t.material(b.Material), because(b.Reason))
	case events.MaterialReturned:
		return fmt.Sprintf("%s of %s returned.%s", b.Amount, t.material(b.Material), because(b.Reason))
	case events.PunchRaised:
		return fmt.Sprintf("Loose end at %s: %s (stops %s).", b.Where, strings.TrimSuffix(b.What, "."), b.Blocks)
	case events.PunchAssigned:
		return fmt.Sprintf("Loose end %s is %s's.", t.item(b.Item), t.person(b.To))
	case events.PunchFixed:
		return fmt.Sprintf("Loose end %s fixed.", t.item(b.Item))
	case events.PunchVerified:
		return fmt.Sprintf("Loose end %s verified.", t.item(b.Item))
	case events.PunchReopened:
		return fmt.Sprintf("Loose end %s opened again.%s", t.item(b.Item), because(b.Reason))
	case events.PunchWaived:
		return fmt.Sprintf("Loose end %s waived.%s", t.item(b.Item), because(b.Reason))
	}
	return warned(body)
}

// warned tells a warning, and whom it was for.
func warned(body events.Body) string {
	switch b := body.(type) {
	case events.ExposureWarned:
		return "Warned" + toldTo(b.Told) + ": " + b.Why
	case events.ExposureCleared:
		return "Warning taken back" + toldTo(b.Told) + ": " + b.Why
	case events.ShortageWarned:
		return "Warned" + toldTo(b.Told) + ": " + b.Why
	}
	return (events.Event{Body: body}).Report()
}

// offcuts tells what a trim was cut out of and what was kept of it.
func offcuts(b events.TrimInstalled) string {
	said := ""
	if len(b.FromOffcuts) > 0 {
		said += " Cut out of the offcuts " + list(b.FromOffcuts) + "."
	}
	if len(b.Offcuts) > 0 {
		said += fmt.Sprintf(" Kept: %v.", b.Offcuts)
	}
	return said
}

// toldTo names the roles that a warning was for. People change; the event has their ids.
func toldTo(told []events.Told) string {
	var roles []events.Role
	for _, t := range told {
		roles = append(roles, t.Role)
	}
	if len(roles) == 0 {
		return ""
	}
	return " (" + list(roles) + ")"
}

func panelCut(b events.PanelCut) string {
	from := b.From.Stock
	switch {
	case b.From.Offcut != "":
		from = "offcut " + strings.TrimPrefix(b.From.Offcut, "offcut ")
	case b.From.Coil != "":
		from = "coil " + strings.TrimPrefix(b.From.Coil, "coil ")
	}
	words := fmt.Sprintf("Panel %s cut %s long from %s", b.Piece, b.Length, from)
	if b.Offcut != nil {
		words += fmt.Sprintf(", %s kept", b.Offcut)
	}
	if b.Miscut != "" {
		return words + "; miscut: " + b.Miscut + "."
	}
	return words + "."
}

func because(reason string) string {
	if reason = strings.TrimSpace(reason); reason == "" {
		return ""
	}
	_, size := utf8.DecodeRuneInString(reason)
	return " " + strings.ToUpper(reason[:size]) + strings.TrimSuffix(reason[size:], ".") + "."
}

func howMuch[T fmt.Stringer](amount *T) string {
	if amount == nil {
		return ""
	}
	return ", " + (*amount).String()
}

func list[T ~string](words []T) string {
	parts := make([]string, len(words))
	for i, w := range words {
		parts[i] = string(w)
	}
	return strings.Join(parts, ", ")
}
