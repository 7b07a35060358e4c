package record

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"bydark/events"
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

// Words tells an event in a sentence.
func Words(e events.Event, digest string, withdrawnBy events.ReportID) Line {
	return Line{
		Sequence: e.Sequence, ID: e.ID, Type: e.Report(), At: e.At, Recorded: e.Recorded, By: e.By,
		Words: sentence(e.Body), WithdrawnBy: withdrawnBy, Digest: digest,
	}
}

func sentence(body events.Body) string {
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
		words := fmt.Sprintf("Day started with %d people, shift until %s", b.Heads, b.ShiftEnd.Format("15:04 MST"))
		if !b.LeaveBy.IsZero() {
			words += fmt.Sprintf(", everybody off the roof by %s", b.LeaveBy.Format("15:04 MST"))
		}
		return words + "."
	case events.DayEnded:
		if len(b.LeftOpen) == 0 {
			return "Day ended; nothing was named as left open."
		}
		return fmt.Sprintf("Day ended; left open: %s; accepted by %s.%s", list(b.LeftOpen), b.AcceptedBy, because(b.Reason))
	case events.CheckSigned:
		return fmt.Sprintf("Check %s signed.", b.Check)
	case events.ReportWithdrawn:
		return fmt.Sprintf("Report %s withdrawn.%s", b.Report, because(b.Reason))
	case events.PhotoAttached:
		return fmt.Sprintf("Picture attached to report %s.", b.To)
	}
	return otherwise(body)
}

func otherwise(body events.Body) string {
	switch b := body.(type) {
	case events.MaterialOrdered:
		var parts []string
		for _, l := range b.Lines {
			parts = append(parts, fmt.Sprintf("%s of %s", l.Amount, l.Material))
		}
		return fmt.Sprintf("Ordered by %s: %s.", b.Order, strings.Join(parts, ", "))
	case events.MaterialReceived:
		var parts []string
		for _, l := range b.Lines {
			part := fmt.Sprintf("%s of %s", l.Amount, l.Material)
			if l.Short != nil {
				part += fmt.Sprintf(" (%s short)", l.Short)
			}
			if l.Damaged != nil {
				part += fmt.Sprintf(" (%s damaged)", l.Damaged)
			}
			parts = append(parts, part)
		}
		return "Received: " + strings.Join(parts, ", ") + "."
	case events.MaterialMoved:
		if b.Offcut != "" {
			return fmt.Sprintf("%s of %s, the offcut %s, moved to job %s.", b.Amount, b.Material, b.Offcut, b.To)
		}
		return fmt.Sprintf("%s of %s moved to job %s.", b.Amount, b.Material, b.To)
	case events.MaterialCounted:
		return fmt.Sprintf("Counted %s of %s.%s", b.Amount, b.Material, because(b.Reason))
	case events.MaterialSpoiled:
		return fmt.Sprintf("%s of %s spoiled.%s", b.Amount, b.Material, because(b.Reason))
	case events.MaterialReturned:
		return fmt.Sprintf("%s of %s returned.%s", b.Amount, b.Material, because(b.Reason))
	case events.PunchRaised:
		return fmt.Sprintf("Punch item at %s: %s (blocks %s).", b.Where, b.What, b.Blocks)
	case events.PunchAssigned:
		return fmt.Sprintf("Punch item %s is %s's.", b.Item, b.To)
	case events.PunchFixed:
		return fmt.Sprintf("Punch item %s fixed.", b.Item)
	case events.PunchVerified:
		return fmt.Sprintf("Punch item %s verified.", b.Item)
	case events.PunchReopened:
		return fmt.Sprintf("Punch item %s opened again.%s", b.Item, because(b.Reason))
	case events.PunchWaived:
		return fmt.Sprintf("Punch item %s waived.%s", b.Item, because(b.Reason))
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
		from = "offcut " + b.From.Offcut
	case b.From.Coil != "":
		from = "coil " + b.From.Coil
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
