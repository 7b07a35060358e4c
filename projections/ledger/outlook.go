package ledger

import (
	"fmt"
	"strings"
	"time"

	"bydark/events/quantity"
	"bydark/services/burn"
	"bydark/services/roofjob"
)

// pace is how much of a material the work took a day, and over how many days: all from
// the first to the last that took some, by the site's calendar; nil before the first.
func pace(use roofjob.Use, site *time.Location) (*quantity.Amount, int, error) {
	if use.First.IsZero() || use.Taken().Sign() <= 0 {
		return nil, 0, nil
	}
	days := dayOf(use.Last, site) - dayOf(use.First, site) + 1
	a, err := use.Taken().Share(quantity.Pieces(1), quantity.Pieces(int64(days)))
	if err != nil {
		return nil, 0, err
	}
	return &a, days, nil
}

// dayOf numbers the days of a calendar.
func dayOf(t time.Time, zone *time.Location) int {
	y, m, d := t.In(zone).Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / (24 * 60 * 60))
}

// Outlook is when a material runs out and until when to order it. Days are YYYY-MM-DD by
// the calendar of the site.
type Outlook struct {
	// LastsUntil is the day on which what is on hand is used up at the pace so far, if
	// work on it goes on without a pause; empty where it suffices or where there is no pace.
	LastsUntil string `json:"lasts_until,omitempty"`
	// OrderBy is the last day to order what is short; empty where nothing is short or
	// nothing tells when it is needed. DaysLate is by how much it has passed.
	OrderBy  string `json:"order_by,omitempty"`
	DaysLate int    `json:"order_days_late,omitempty"`
	// Words say it, and from what it was reckoned.
	Words string `json:"outlook"`
}

// Outlook reckons it for a moment, whose location is the site's. Start is the day on which
// work is to begin, empty when nobody said. A house default: every day counts as a day of
// work, so that what comes out is the earliest.
func (l Line) Outlook(start string, now time.Time) Outlook {
	var o Outlook
	var words []string
	say := func(format string, args ...any) { words = append(words, fmt.Sprintf(format, args...)) }
	day := func(n int) string { return now.AddDate(0, 0, n).Format(time.DateOnly) }
	perDay := 0.0
	if l.PerDay != nil {
		perDay = l.PerDay.Plain()
	}
	lasts, paced := burn.WholeDays(max(0, l.OnHand.Plain()), perDay)
	lacks := l.OnHand.Sign() < 0
	if lacks {
		say("%s more was used, spoiled or sent away than came, by the reports: a delivery was not reported, a report says too much, or a count is missing. Count what is there.", l.OnHand.Neg().Shown())
	}
	switch enough, err := l.OnHand.Cmp(l.Remaining); {
	case l.Remaining.Sign() == 0:
		say("The work that is left needs none.")
	case err == nil && enough >= 0:
		say("What is on hand suffices for the %s that the work still takes.", l.Remaining.Shown())
	case paced && lacks:
		say("The work still takes %s.", l.Remaining.Shown())
	case paced:
		o.LastsUntil = day(lasts)
		say("The work still takes %s. At the pace so far, %s in %s, what is on hand is used up on %s, counting every day as a day of work.", l.Remaining.Shown(), l.taken().Shown(), numbered(l.UsedDays, "day"), o.LastsUntil)
	default:
		say("The work still takes %s; none of it is used yet, so there is no pace to go by.", l.Remaining.Shown())
	}
	for _, a := range l.Awaited {
		if l.Remaining.Sign() > 0 && o.LastsUntil != "" && a.Due > o.LastsUntil {
			say("Order %s is due on %s, after that.", a.Order, a.Due)
		}
	}
	if l.ShortBy.Sign() <= 0 {
		o.Words = strings.Join(words, " ")
		return o
	}
	here, known := 0, false
	if paced {
		here, known = burn.WholeDays(max(0, l.OnHand.Plain())+l.OnOrder.Plain(), perDay)
	}
	if begins, err := time.ParseInLocation(time.DateOnly, start, now.Location()); err == nil && !paced && dayOf(begins, now.Location()) > dayOf(now, now.Location()) {
		here, known = dayOf(begins, now.Location())-dayOf(now, now.Location()), true
		say("Work is to begin on %s.", start)
	}
	short := l.ShortBy.Shown()
	if packs := l.ToOrder.Shown(); packs != short {
		short += ", that is " + packs
	}
	switch left := here - l.LeadDays; {
	case !known:
		say("Short by %s; it takes %s to come.", short, numbered(l.LeadDays, "day"))
	case left < 0:
		o.OrderBy, o.DaysLate = day(left), -left
		say("Short by %s. It takes %s to come: the last day to order was %s, %s ago.", short, numbered(l.LeadDays, "day"), o.OrderBy, numbered(-left, "day"))
	default:
		o.OrderBy = day(left)
		say("Short by %s. It takes %s to come: order it by %s.", short, numbered(l.LeadDays, "day"), o.OrderBy)
	}
	o.Words = strings.Join(words, " ")
	return o
}

// taken is what the work took: as cuts tell it, or else as the steps imply.
func (l Line) taken() quantity.Amount {
	if l.UsedReported != nil {
		return *l.UsedReported
	}
	return l.UsedImplied
}

func numbered(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
