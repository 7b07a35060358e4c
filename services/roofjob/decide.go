package roofjob

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"bydark/events"
)

// Ahead is how far a report may lie in the future: what two clocks may differ by.
const Ahead = 2 * time.Minute

// earliest is before any report: a phone whose clock was never set says 1970.
var earliest = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// Decide turns a report into the event to append, or refuses it with an
// *events.Refusal. A report of fact is not refused for being unwelcome: it is refused
// when it cannot be understood, when it cannot be, when the sender may not, or when it
// is a claim that the state contradicts.
func Decide(s *State, r events.Report, who Actor, now time.Time) (events.Event, error) {
	if s.Opened() == nil {
		return events.Event{}, &events.Refusal{Code: "no-such-job", Was: string(s.Job), Want: "a job that was opened"}
	}
	switch {
	case r.At.After(now.Add(Ahead)):
		return events.Event{}, &events.Refusal{
			Code: "in-the-future", Where: "/at", Was: r.At.Format(time.RFC3339),
			Want: "a time up to now, " + now.UTC().Format(time.RFC3339),
		}
	case r.At.Before(earliest):
		return events.Event{}, &events.Refusal{Code: "too-long-ago", Where: "/at", Was: r.At.Format(time.RFC3339), Want: "a time from the year 2000 on: set the phone's clock"}
	}
	d := decision{s: s, who: who, report: r}
	if err := d.decide(); err != nil {
		return events.Event{}, err
	}
	if w, ok := r.Body.(events.ReportWithdrawn); ok && !who.OthersReports {
		w.Own = true
		r.Body = w
	}
	return events.Event{ID: r.ID, At: r.At, Recorded: now, By: who.Person, Body: r.Body}, nil
}

// decision looks one report over; the rules stand in decide_*.go, a family a file.
type decision struct {
	s      *State
	who    Actor
	report events.Report
}

func (d *decision) decide() error {
	switch b := d.report.Body.(type) {
	case events.RoofDrawn, events.AssemblyChosen, events.EstimateIssued, events.CrewPlanned:
		return d.plan()
	case events.JobClosed:
		return d.closed()
	case events.JobReopened:
		return d.reopened(b)
	case events.MeasureTaken:
		return d.measured(b)
	case events.MaterialOrdered, events.MaterialReceived, events.MaterialMoved, events.MaterialCounted, events.MaterialSpoiled, events.MaterialReturned:
		return d.material()
	case events.DeckOpened:
		return d.deckOpened(b)
	case events.LayerLaid:
		return d.layerLaid(b)
	case events.PanelCut:
		return d.panelCut(b)
	case events.PanelSet:
		return d.piece(b.Piece)
	case events.TrimInstalled:
		return d.trimInstalled(b)
	case events.SealMade:
		return d.atEdge(b.Where, b.Step, amountOf(b.Amount), b.Reason)
	case events.CoverPlaced:
		return d.place("/where", b.Where)
	case events.CoverRemoved:
		return d.place("/where", b.Where)
	case events.WeatherTightReached:
		return d.weatherTight(b)
	case events.DayStarted:
		return d.dayStarted(b)
	case events.DayEnded:
		return d.dayEnded(b)
	case events.PunchRaised, events.PunchAssigned, events.PunchFixed, events.PunchVerified, events.PunchReopened, events.PunchWaived, events.PhotoAttached:
		return d.punch()
	case events.CheckSigned:
		return d.checkSigned(b)
	case events.ReportWithdrawn:
		return d.withdrawn(b)
	}
	panic(fmt.Sprintf("roofjob: no rule for %T", d.report.Body))
}

// MostText bounds what people write into one field.
const MostText = 2000

// text refuses what is empty where something must stand, too long, or holds
// characters that nobody types.
func text(where, was string, needed bool) error {
	switch {
	case needed && strings.TrimSpace(was) == "":
		return &events.Refusal{Code: "empty", Where: where, Want: "a few words"}
	case len(was) > MostText:
		return &events.Refusal{Code: "too-long", Where: where, Was: fmt.Sprintf("%d bytes", len(was)), Want: fmt.Sprintf("%d bytes at most", MostText)}
	case !utf8.ValidString(was) || strings.ContainsFunc(was, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }):
		return &events.Refusal{Code: "unreadable-text", Where: where, Was: fmt.Sprintf("%q", clip(was)), Want: "text without control characters"}
	}
	return nil
}

func clip(s string) string {
	const most = 60
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}

// first gives the first error of several checks.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// place refuses a mark that is neither on the roof nor the whole of it.
func (d *decision) place(where string, mark events.Place) error {
	if mark == events.WholeRoof {
		return nil
	}
	if _, ok := d.s.now.drawing.kinds[mark]; ok {
		return nil
	}
	return &events.Refusal{Code: "unknown-mark", Where: where, Was: clip(string(mark)), Want: "a mark on this roof (" + d.marks(nil) + ") or roof"}
}

// marks lists the marks of the kinds asked for, all where none is.
func (d *decision) marks(wanted func(kind string) bool) string {
	var marks []string
	for _, m := range d.s.now.drawing.order {
		if wanted == nil || wanted(d.s.now.drawing.kinds[m]) {
			marks = append(marks, string(m))
		}
	}
	const most = 40
	if len(marks) > most {
		marks = append(marks[:most], "…")
	}
	return strings.Join(marks, ", ")
}

func (d *decision) photos(photos []events.PhotoDigest) error {
	if len(photos) > 20 {
		return &events.Refusal{Code: "too-many", Where: "/photos", Was: fmt.Sprint(len(photos)), Want: "20 pictures at most"}
	}
	for i, p := range photos {
		if !isDigest(string(p)) {
			return &events.Refusal{Code: "unreadable-digest", Where: fmt.Sprintf("/photos/%d", i), Was: clip(string(p)), Want: "the digest that POST /v1/photos answered, 64 hexadecimal digits"}
		}
	}
	return nil
}

func isDigest(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

func day(where, was string, needed bool) error {
	if was == "" && !needed {
		return nil
	}
	if _, err := time.Parse(time.DateOnly, was); err != nil {
		return &events.Refusal{Code: "unreadable-day", Where: where, Was: clip(was), Want: "a day such as 2026-05-04"}
	}
	return nil
}

func oneOf(where, was string, words []string) error {
	if slices.Contains(words, was) {
		return nil
	}
	return &events.Refusal{Code: "unknown-word", Where: where, Was: clip(was), Want: "one of " + strings.Join(words, ", ")}
}
