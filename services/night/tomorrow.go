package night

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"bydark/events"
	"bydark/services/roof"
	"bydark/services/roofjob"
	"bydark/services/weather"
)

// weekDays is how many days ahead are looked at.
const weekDays = 7

// dampMM is the rain of an hour in which no deck is open: measurable rain, 0.01 in, as the
// weather service counts it.
const dampMM = 0.25

// Ahead is one day to come and how much deck may be opened on it and still be dried in.
type Ahead struct {
	Date string    `json:"date"`
	From time.Time `json:"from"`
	// Until is when the deck must be under felt or panels again: by dark, the end of the
	// shift, or rain. Because says which.
	Until   time.Time `json:"until"`
	Because string    `json:"because"`
	// FirstMin are the crew's minutes for what is open already, which comes first.
	FirstMin int     `json:"first_min"`
	Opens    []Opens `json:"opens"`
	AreaM2   float64 `json:"area_m2"`
	AreaSqft float64 `json:"area_sqft"`
	// ChancePct is the chance that it stays dry until Until, as far as the forecast's
	// chances say: of rain in the hour that is likeliest to have it. Absent where no chance
	// is forecast.
	ChancePct *float64 `json:"chance_pct,omitempty"`
	// IfDryM2 may be opened if it stays dry to the end of the day, and IfDryPct is the
	// chance of that.
	IfDryM2   float64  `json:"if_dry_m2"`
	IfDrySqft float64  `json:"if_dry_sqft"`
	IfDryPct  *float64 `json:"if_dry_pct,omitempty"`
	// Limit is what stops the opening; empty where nothing does.
	Limit string `json:"limit,omitempty"`
	Says  string `json:"says"`
}

// Opens is a plane to open, whole or to a line across it.
type Opens struct {
	Plane    events.Place `json:"plane"`
	SharePct float64      `json:"share_pct"`
	AreaM2   float64      `json:"area_m2"`
	AreaSqft float64      `json:"area_sqft"`
	// Line says how far: the whole plane, or up to a line so far up the slope.
	Line    string    `json:"line"`
	CrewMin int       `json:"crew_min"`
	DoneBy  time.Time `json:"done_by"`
	// Limit is what stops there: nothing, time or material.
	Limit string `json:"limit"`
}

// Week tells for tomorrow and the days after it how much deck may be opened and still be
// dried in with this crew and what is at hand, each day by itself. What tonight's plan leaves
// open comes first on the first of them. Stock and paces are those of the plan.
func Week(state *roofjob.State, told Told, t Tonight) ([]Ahead, error) {
	b := ahead{state: state, told: told, tonight: t, openings: state.DryIns(t.paces)}
	// Least work for the area first.
	slices.SortStableFunc(b.openings, func(x, y roofjob.DryIn) int {
		return cmp.Compare((x.FixedMin+x.RestMin)*y.Area.SquareMetres(), (y.FixedMin+y.RestMin)*x.Area.SquareMetres())
	})
	var days []Ahead
	for n := range weekDays {
		day, err := b.day(n)
		if err != nil {
			return nil, err
		}
		days = append(days, day)
	}
	return days, nil
}

type ahead struct {
	state    *roofjob.State
	told     Told
	tonight  Tonight
	openings []roofjob.DryIn
}

// left are the crew's minutes for what tonight's plan leaves open.
func (b *ahead) left() int {
	shut := map[string]bool{}
	for _, c := range b.tonight.Question.Candidates {
		for _, job := range b.tonight.Answer.Chosen {
			if job.ID == c.ID && !c.Cover {
				shut[c.Where] = true
			}
		}
	}
	total := time.Duration(0)
	for _, c := range b.tonight.Question.Candidates {
		if !c.Cover && !shut[c.Where] {
			total += c.Crew
		}
	}
	return int(total / time.Minute)
}

func (b *ahead) day(n int) (Ahead, error) {
	w := b.tonight.Window
	from := w.Start.AddDate(0, 0, n)
	site := b.state.Opened().Site
	end, because, err := endOfDay(site, from, w)
	if err != nil {
		return Ahead{}, err
	}
	d := Ahead{Date: from.Format(time.DateOnly), From: from, Until: end, Because: because}
	if n == 0 {
		d.FirstMin = b.left()
	}
	dry, _ := b.open(d, end)
	for _, o := range dry {
		d.IfDryM2 += o.AreaM2
	}
	d.IfDryPct = b.dryPct(from, end)
	if wet, why := b.wetFrom(from, end); wet.Before(end) {
		d.Until, d.Because = wet, why
	}
	d.Opens, d.Limit = b.open(d, d.Until)
	for _, o := range d.Opens {
		d.AreaM2 += o.AreaM2
	}
	d.AreaSqft, d.IfDrySqft = d.AreaM2/weather.M2PerSqft, d.IfDryM2/weather.M2PerSqft
	d.ChancePct = b.dryPct(from, d.Until)
	d.Says = b.says(d)
	return d, nil
}

// endOfDay is the earliest of civil dusk and the shift's end by the clock of the last day
// that was started.
func endOfDay(site events.Site, from time.Time, w Window) (time.Time, string, error) {
	next, err := Coming(site, Day{}, from.Add(time.Minute))
	if err != nil {
		return time.Time{}, "", err
	}
	end, because := next.LeaveBy, next.Because
	if !w.ShiftEnd.IsZero() {
		clock := w.ShiftEnd.In(w.Zone)
		shift := time.Date(from.Year(), from.Month(), from.Day(), clock.Hour(), clock.Minute(), 0, 0, w.Zone)
		if shift.Before(end) && shift.After(from) {
			end, because = shift, "the end of the shift"
		}
	}
	return end, because, nil
}

// wetFrom is when deck must be closed for rain: the first hour that is forecast wet, more
// likely wet than not, or not forecast at all; end when there is none.
func (b *ahead) wetFrom(from, end time.Time) (time.Time, string) {
	for at := from.UTC().Truncate(time.Hour); at.Before(end); at = at.Add(time.Hour) {
		h, _ := b.told.Forecast.At(at)
		wet := at
		if wet.Before(from) {
			wet = from
		}
		clock := wet.In(from.Location()).Format("15:04")
		switch {
		case !h.RainMM.Known && !h.ChancePct.Known:
			return wet.In(from.Location()), "nobody has forecast the rain from " + clock
		case h.RainMM.Or(0) >= dampMM:
			return wet.In(from.Location()), fmt.Sprintf("rain of %s is forecast in the hour from %s", rainfall(h.RainMM.V), clock)
		case h.ChancePct.Or(0) > 50:
			return wet.In(from.Location()), fmt.Sprintf("the chance of rain is %.0f %% from %s", h.ChancePct.V, clock)
		}
	}
	return end, ""
}

// dryPct is the chance that it stays dry from one time to another: hours of a day hang
// together, so that it is taken from the likeliest of them and not multiplied. Nil where an
// hour's chance is not forecast, or no time lies between.
func (b *ahead) dryPct(from, to time.Time) *float64 {
	if !to.After(from) {
		return nil
	}
	dry := 100.0
	for at := from.UTC().Truncate(time.Hour); at.Before(to); at = at.Add(time.Hour) {
		h, _ := b.told.Forecast.At(at)
		if !h.ChancePct.Known {
			return nil
		}
		dry = math.Min(dry, 100-h.ChancePct.V)
	}
	return &dry
}

// open fills the crew's minutes with planes, and tells what stopped it.
func (b *ahead) open(d Ahead, until time.Time) (opens []Opens, limit string) {
	w := b.tonight.Window
	at := d.From.Add(time.Duration(d.FirstMin) * time.Minute)
	stock := maps.Clone(b.tonight.Question.Stock)
	for _, o := range b.openings {
		left := until.Sub(at).Minutes() * float64(w.Heads)
		share, why := 1.0, "nothing"
		if o.LeastHeads > w.Heads {
			limit = fmt.Sprintf("plane %s takes %d people", o.Plane, o.LeastHeads)
			continue
		}
		if byTime := (left - o.FixedMin) / o.RestMin; byTime < share {
			share, why = byTime, "time"
		}
		if m, byStock := b.stocked(o, stock); byStock < share {
			share, why = byStock, "material: "+b.name(m)
		}
		if why != "nothing" {
			limit = why
		}
		if share*o.Area.SquareFeet() < leastSqft {
			continue
		}
		minutes := int(math.Ceil((o.FixedMin + share*o.RestMin) / float64(w.Heads)))
		at = at.Add(time.Duration(minutes) * time.Minute)
		for m, n := range o.FixedNeeds {
			stock[string(m)] -= n
		}
		for m, n := range o.Needs {
			stock[string(m)] -= int64(math.Ceil(share * float64(n)))
		}
		area := share * o.Area.SquareMetres()
		opens = append(opens, Opens{
			Plane: o.Plane, SharePct: 100 * share, AreaM2: area, AreaSqft: area / weather.M2PerSqft, CrewMin: minutes, DoneBy: at, Limit: why,
			Line: b.line(o, share),
		})
	}
	return opens, limit
}

// leastSqft is the least piece of deck that anybody opens: half a square, house default.
const leastSqft = 50

// stocked is the share of a plane for which there is material, and the one that lacks most.
func (b *ahead) stocked(o roofjob.DryIn, stock map[string]int64) (lacks string, share float64) {
	share = 1
	for _, m := range slices.Sorted(maps.Keys(o.FixedNeeds)) {
		if stock[string(m)] < o.FixedNeeds[m] {
			return string(m), 0
		}
	}
	for _, m := range slices.Sorted(maps.Keys(o.Needs)) {
		if n := o.Needs[m]; n > 0 {
			if have := float64(max(0, stock[string(m)]-o.FixedNeeds[m])) / float64(n); have < share {
				lacks, share = string(m), have
			}
		}
	}
	return lacks, share
}

// name is what people call a material.
func (b *ahead) name(id string) string {
	if m, ok := b.state.Assembly().Material(events.MaterialID(id)); ok {
		return m.Name
	}
	return id
}

// line says how far a plane may be opened: from the eave up to a line across it.
func (b *ahead) line(o roofjob.DryIn, share float64) string {
	plane, ok := b.state.Roof().Plane(roof.PlaneMark(o.Plane))
	if !ok {
		return ""
	}
	whole := plane.Area
	from := 1 - float64(o.Area)/float64(whole) // opened before
	if share >= 1-1e-9 {
		if from > 0 {
			return "the rest of the plane"
		}
		return "the whole plane"
	}
	up := roof.LineAcross(plane, from+share*(1-from))
	return fmt.Sprintf("up to a line %s up the slope from its lowest eave", up.Nearest(4))
}

func (b *ahead) says(d Ahead) string {
	if len(d.Opens) == 0 {
		switch {
		case len(b.openings) == 0:
			return "No deck is left to open."
		case d.Until.Sub(d.From) <= 0:
			return fmt.Sprintf("Open no deck: %s.", d.Because)
		}
		return fmt.Sprintf("Open no deck: it would not be dried in by %s (%s), for want of this: %s.", d.Until.Format("15:04"), d.Because, d.Limit)
	}
	text := ""
	for i, o := range d.Opens {
		if i > 0 {
			text += "; "
		}
		text += fmt.Sprintf("%s: %s, %.0f sqft, dried in by %s", o.Plane, o.Line, o.AreaSqft, o.DoneBy.Format("15:04"))
	}
	text += fmt.Sprintf(". Closed by %s (%s)", d.Until.Format("15:04"), d.Because)
	if d.ChancePct != nil {
		text += fmt.Sprintf("; chance that it stays dry until then %.0f %%", *d.ChancePct)
	}
	return text + "."
}
