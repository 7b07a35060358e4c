package roofjob

import (
	"fmt"

	"bydark/events"
	"bydark/events/quantity"
)

func (d *decision) plan() error {
	switch b := d.report.Body.(type) {
	case events.RoofDrawn:
		if err := text("/reason", b.Reason, true); err != nil {
			return err
		}
		_, err := readDrawing(b.Roof, d.s.now.buildDoc)
		return err
	case events.AssemblyChosen:
		if err := text("/reason", b.Reason, true); err != nil {
			return err
		}
		_, err := readDrawing(d.s.now.roofDoc, b.Assembly)
		return err
	case events.EstimateIssued:
		return text("/reason", b.Reason, false)
	case events.CrewPlanned:
		switch {
		case b.Heads < 0 || b.Heads > 200:
			return &events.Refusal{Code: "impossible", Where: "/heads", Was: fmt.Sprint(b.Heads), Want: "0 to 200 people"}
		case b.ShiftMinutes < 0 || b.ShiftMinutes > 24*60:
			return &events.Refusal{Code: "impossible", Where: "/shift_minutes", Was: fmt.Sprint(b.ShiftMinutes), Want: "0 to 1440 minutes"}
		}
		return day("/from", b.From, true)
	}
	return nil
}

func (d *decision) closed() error {
	b, _ := d.report.Body.(events.JobClosed)
	if err := text("/reason", b.Reason, false); err != nil {
		return err
	}
	if missing := d.s.MissingCloseout(); len(missing) > 0 {
		return &events.Refusal{Code: "not-ready-to-close", Want: "every place weather-tight, every check done and no blocking punch item", Missing: missing}
	}
	return nil
}

func (d *decision) reopened(b events.JobReopened) error {
	if err := text("/reason", b.Reason, true); err != nil {
		return err
	}
	if d.s.Closed().IsZero() {
		return &events.Refusal{Code: "not-closed", Want: "a job that was closed"}
	}
	return nil
}

func (d *decision) material() error {
	switch b := d.report.Body.(type) {
	case events.MaterialOrdered:
		if err := d.lines(len(b.Lines), text("/order", b.Order, true)); err != nil {
			return err
		}
		for i, l := range b.Lines {
			at := fmt.Sprintf("/lines/%d", i)
			if err := first(d.amount(at, l.Material, l.Amount, false), day(at+"/due", l.Due, false)); err != nil {
				return err
			}
		}
	case events.MaterialReceived:
		if err := d.lines(len(b.Lines), text("/order", b.Order, false)); err != nil {
			return err
		}
		for i, l := range b.Lines {
			at := fmt.Sprintf("/lines/%d", i)
			// A line may say only what is short or damaged: nothing usable came.
			if err := d.amount(at, l.Material, l.Amount, l.Short != nil || l.Damaged != nil); err != nil {
				return err
			}
			for _, part := range []*quantity.Amount{l.Short, l.Damaged} {
				if part == nil {
					continue
				}
				if err := d.amount(at, l.Material, *part, true); err != nil {
					return err
				}
			}
		}
	case events.MaterialMoved:
		if _, err := events.ParseJobID(string(b.To)); err != nil || b.To == d.s.Job {
			return movedWhere(b.To)
		}
		return first(text("/offcut", b.Offcut, false), d.amount("", b.Material, b.Amount, false))
	case events.MaterialCounted:
		return first(d.amount("", b.Material, b.Amount, true), text("/reason", b.Reason, false))
	case events.MaterialSpoiled:
		return first(d.amount("", b.Material, b.Amount, false), text("/reason", b.Reason, true))
	case events.MaterialReturned:
		return first(d.amount("", b.Material, b.Amount, false), text("/reason", b.Reason, false))
	}
	return nil
}

// movedWhere refuses material that goes to no other job: it would be gone from one and lie
// at none.
func movedWhere(to events.JobID) error {
	return &events.Refusal{Code: "moved-where", Where: "/to", Was: clip(string(to)), Want: "the id of another job of the company"}
}

func (d *decision) lines(n int, err error) error {
	if err != nil {
		return err
	}
	if n == 0 || n > 200 {
		return &events.Refusal{Code: "how-many-lines", Where: "/lines", Was: fmt.Sprint(n), Want: "1 to 200 lines"}
	}
	return nil
}

// amount refuses a material that the assembly lacks, another unit than its own, and
// what is not above zero; zero passes where it has a meaning.
func (d *decision) amount(at string, id events.MaterialID, said quantity.Amount, zero bool) error {
	m, ok := d.s.Assembly().Material(id)
	if !ok {
		return &events.Refusal{Code: "unknown-material", Where: at + "/material", Was: clip(string(id)), Want: "a material of the assembly " + d.s.Assembly().Name + ": " + d.materials()}
	}
	own, err := m.Amount(said)
	if r := events.RefusalIn(err); r != nil {
		r.Where = at + "/amount"
		return r
	}
	// Sums of any number of reports have to fit: no view may stand still over one.
	if most := mostOf(m.Kind()); err != nil || own.Smallest() > most || own.Smallest() < -most {
		return &events.Refusal{Code: "impossible", Where: at + "/amount", Was: said.String(), Want: "at most " + FromSmallest(m, most).String()}
	}
	if own.Sign() < 0 || own.Sign() == 0 && !zero {
		return &events.Refusal{Code: "not-above-zero", Where: at + "/amount", Was: said.String(), Want: "an amount above zero"}
	}
	return nil
}

// mostOf is more than any roof takes, in the smallest unit of a kind: 100 km, a square
// kilometre, ten million pieces.
func mostOf(kind quantity.Kind) int64 {
	switch kind {
	case quantity.Lengthwise:
		return 100_000 * int64(quantity.Metre)
	case quantity.Areal:
		return 1_000_000 * 100_000_000
	default:
		return 10_000_000 * 1000
	}
}

func (d *decision) materials() string {
	list := ""
	for i, m := range d.s.Assembly().Materials {
		if i > 0 {
			list += ", "
		}
		list += string(m.ID)
	}
	return list
}

func (d *decision) punch() error {
	switch b := d.report.Body.(type) {
	case events.PunchRaised:
		return first(d.place("/where", b.Where), text("/what", b.What, true),
			oneOf("/blocks", b.Blocks, []string{events.BlocksNight, events.BlocksCloseout, events.BlocksNothing}), d.photos(b.Photos))
	case events.PunchAssigned:
		return first(reportID("/item", b.Item), text("/to", b.To, true))
	case events.PunchFixed:
		return first(reportID("/item", b.Item), d.photos(b.Photos))
	case events.PunchVerified:
		return first(reportID("/item", b.Item), d.photos(b.Photos), d.verified(b))
	case events.PunchReopened:
		return first(reportID("/item", b.Item), text("/reason", b.Reason, true))
	case events.PunchWaived:
		return first(reportID("/item", b.Item), text("/reason", b.Reason, true))
	case events.PhotoAttached:
		return first(reportID("/to", b.To), d.photos([]events.PhotoDigest{b.Photo}))
	}
	return nil
}

// verified: saying that somebody's work is right is a claim, and four eyes make it.
func (d *decision) verified(b events.PunchVerified) error {
	item, ok := d.s.Item(b.Item)
	switch {
	case !ok:
		return &events.Refusal{Code: "unknown-item", Where: "/item", Was: string(b.Item), Want: "the id of the report that raised the item"}
	case item.State != ItemFixed:
		return &events.Refusal{Code: "not-fixed", Where: "/item", Was: "the item is " + item.State, Want: "an item that was fixed", Missing: []string{"punch-fixed for " + string(b.Item)}}
	case item.FixedBy == d.who.Person:
		return &events.Refusal{Code: "four-eyes", Where: "/item", Was: "fixed by the same person", Want: "somebody else to look at it"}
	}
	return nil
}

// reportID refuses what is no report's id. One that nobody has reported yet passes:
// phones send when they can, and the report may be on its way.
func reportID(where string, id events.ReportID) error {
	if _, err := events.ParseReportID(string(id)); err != nil {
		return &events.Refusal{Code: "unreadable-id", Where: where, Was: clip(string(id)), Want: "the id of a report, a UUID"}
	}
	return nil
}

func (d *decision) checkSigned(b events.CheckSigned) error {
	for _, c := range d.s.Checks() {
		if c.ID != b.Check {
			continue
		}
		return d.photos(b.Photos)
	}
	return &events.Refusal{Code: "unknown-check", Where: "/check", Was: clip(b.Check), Want: "the id of a check on this job's checklist, place/step/check"}
}

func (d *decision) withdrawn(b events.ReportWithdrawn) error {
	if err := first(reportID("/report", b.Report), text("/reason", b.Reason, true)); err != nil {
		return err
	}
	target, ok := d.s.Event(b.Report)
	switch {
	case !ok:
		return nil
	case target.By != d.who.Person && !d.who.OthersReports:
		return &events.Refusal{Code: "not-yours", Where: "/report", Was: string(b.Report), Want: "a report of your own, or the lead to withdraw it"}
	}
	if _, opened := target.Body.(events.JobOpened); opened {
		return &events.Refusal{Code: "not-withdrawable", Where: "/report", Was: "the report that opened the job", Want: "another report"}
	}
	if events.Warning(target.Body) {
		return &events.Refusal{Code: "not-withdrawable", Where: "/report", Was: "a warning that the service made", Want: "a report that somebody sent: what was told stays told"}
	}
	return nil
}
