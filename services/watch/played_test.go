package watch

import (
	"encoding/json/jsontext"
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/roofjob"
	"bydark/services/sky"
	"bydark/services/tonight"
	"bydark/services/weather"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
)

var updateWeek = flag.Bool("update", false, "write the golden file anew")

// The three roofs of the demo through a week of a forecast that was recorded (United States
// National Weather Service, near Nashville, 8 January 2024, public domain; see
// testdata/weather): a crew that opens what the evening before said may be opened, does at
// 14:00 what the plan says, and leaves the rest with somebody's word. The forecast is heard
// when it was issued, in the first afternoon; the first morning knows none. On the hipped L
// the crew is called away on the first day, before a night of storm.
func TestPlayedWeek(t *testing.T) {
	doc, err := os.ReadFile("../../testdata/weather/ohx-2024-01-08/gridpoint.json")
	if err != nil {
		t.Fatal(err)
	}
	forecast, err := weather.Read(doc)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	fmt.Fprintf(&out, "Three roofs, a week, and the forecast that the weather service issued %s for %s.\nTimes are the site's. Litres are until the next start of work.\n",
		forecast.Issued.Format("2 Jan 2006 15:04 MST"), forecast.Place)
	for _, roof := range [][2]string{{"mill-gable", "flat-clip"}, {"orchard-ell", "flat-clip"}, {"chapel-shed", "raised-clip-vented"}} {
		p := play(t, roof[0], roof[1], forecast, &out)
		p.week()
	}
	const golden = "testdata/played-week.txt"
	if *updateWeek {
		if err := os.WriteFile(golden, []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(out.String(), "\n")); diff != "" {
		t.Errorf("the week went otherwise; if it is meant so: go test ./services/watch -run Played -update\n%s", diff)
	}
}

// played is one roof while the week is played.
type played struct {
	*roofjob.State
	t        *testing.T
	out      *strings.Builder
	zone     *time.Location
	forecast weather.Forecast
	n        int
	stock    map[string]int64
	morning  []night.Opens // what the evening before said may be opened
	warned   []string
}

func play(t *testing.T, name, how string, forecast weather.Forecast, out *strings.Builder) *played {
	t.Helper()
	drawn, err := os.ReadFile("../../cmd/bydark/demo/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	built, err := assembly.Document(how)
	if err != nil {
		t.Fatal(err)
	}
	site := events.Site{Lat: 36.12, Lon: -86.69, Zone: "America/Chicago"}
	zone, err := time.LoadLocation(site.Zone)
	if err != nil {
		t.Fatal(err)
	}
	p := &played{State: roofjob.New("firm", events.JobID(name)), t: t, out: out, zone: zone, forecast: forecast, stock: map[string]int64{}}
	p.tell(p.at(0, 7, 0), events.JobOpened{Name: name, Site: site, Roof: jsontext.Value(drawn), Assembly: built})
	for _, m := range p.Assembly().Materials {
		p.stock[string(m.ID)] = math.MaxInt64 / 4
	}
	return p
}

// at is a time of the week.
func (p *played) at(day, hour, minute int) time.Time {
	return time.Date(2024, 1, 8+day, hour, minute, 0, 0, p.zone)
}

func (p *played) say(format string, args ...any) { fmt.Fprintf(p.out, format+"\n", args...) }

func (p *played) tell(at time.Time, body events.Body) {
	p.t.Helper()
	p.n++
	id := events.ReportID(uuid.NewSHA1(uuid.Nil, fmt.Appendf(nil, "%s %d", p.Job, p.n)).String())
	if err := p.Add(events.Event{ID: id, At: at, Recorded: at, By: "lead", Sequence: uint64(p.n), Body: body}); err != nil {
		p.t.Fatal(err)
	}
}

// heard is the forecast as it was known at a time.
func (p *played) heard(now time.Time) sky.Known {
	if now.Before(p.forecast.Issued) {
		return sky.Known{}
	}
	return sky.Known{Forecast: sky.Kept{Forecast: p.forecast, Sequence: 1, Recorded: p.forecast.Issued}}
}

func (p *played) plan(now time.Time) night.Tonight {
	p.t.Helper()
	heard := p.heard(now)
	told := night.Told{Forecast: heard.Forecast.Forecast, Recorded: heard.Forecast.Recorded}
	plan, err := night.Plan(p.State, told, p.stock, map[events.StepID]float64{}, now)
	if err != nil {
		p.t.Fatal(err)
	}
	return plan
}

func (p *played) week() {
	p.say("\n== %s", p.Roof().Name)
	for day := range 7 {
		p.say("\n%s", p.at(day, 7, 0).Format("Monday 2 January"))
		p.warned = nil
		p.tell(p.at(day, 7, 0), events.DayStarted{Heads: 3, ShiftEnd: p.at(day, 16, 30)})
		p.uncover(day)
		p.work(day)
		p.watch(p.at(day, 10, 0), p.at(day, 14, 0))
		if p.Job == "orchard-ell" && day == 0 {
			p.away(day)
			continue
		}
		plan := p.plan(p.at(day, 14, 0))
		p.say("  14:00 %d minutes left. %s", plan.Answer.MinutesLeft, plan.Night.Assumes)
		p.say("        As it stands %s expected, %s if it rains.", night.Volume(plan.Night.Water.ExpectedL), night.Volume(plan.Night.Water.IfRainL))
		p.follow(plan)
		p.watch(p.at(day, 14, 30), p.at(day, 16, 0))
		p.leave(day)
		p.watch(p.at(day, 17, 0), p.at(day, 23, 0))
		p.hear()
	}
}

// hear says what was warned of on a day.
func (p *played) hear() {
	for _, w := range p.warned {
		p.say("  %s", w)
	}
}

// away is a day on which the crew is called to another roof at noon: nobody closes anything,
// and nobody ends the day.
func (p *played) away(day int) {
	p.say("  12:00 the crew is called away; nobody closes anything and nobody ends the day")
	p.watch(p.at(day, 14, 30), p.at(day, 23, 0))
	p.hear()
	brings := 0.0
	for _, place := range p.plan(p.at(day, 23, 0)).Night.Places {
		brings += place.Water.ExpectedL
	}
	p.say("  23:00 %s expected before 07:00", night.Volume(brings))
	p.morning = nil
}

func (p *played) uncover(day int) {
	for _, place := range p.Places() {
		if !place.Covered.IsZero() {
			p.tell(p.at(day, 7, 1), events.CoverRemoved{Where: place.Mark})
		}
	}
}

// work opens what may be opened; where nothing is to be opened, it sets twelve panels.
func (p *played) work(day int) {
	if day == 0 {
		first := p.Places()[0].Mark
		p.tell(p.at(day, 7, 5), events.DeckOpened{Where: first})
		p.say("  07:05 opens all of %s; there is no forecast yet", first)
		return
	}
	for _, o := range p.morning {
		place, _ := p.Place(o.Plane)
		rest := 1 - place.OpenedShare()
		amount := quantity.OfArea(quantity.Area(float64(place.Extent.Area()) * rest * o.SharePct / 100))
		p.tell(p.at(day, 7, 5), events.DeckOpened{Where: o.Plane, Amount: &amount})
		p.say("  07:05 opens %s: %s, %.0f sqft", o.Plane, o.Line, o.AreaSqft)
	}
	if len(p.morning) > 0 {
		p.dryIn(day)
		return
	}
	for _, place := range p.Places() {
		if place.Kind != assembly.PlaneKind || place.State != assembly.DriedIn || place.OpenedShare() < 1 || place.SetShare() == 1 {
			continue
		}
		set := 0
		for _, plane := range p.Estimate().Planes {
			if plane.Mark != place.Mark {
				continue
			}
			for _, panel := range plane.Panels {
				if _, done := p.PanelState(panel.Mark); done.IsZero() && set < 12 {
					p.tell(p.at(day, 8, 0).Add(time.Duration(set)*5*time.Minute), events.PanelSet{Piece: panel.Mark})
					set++
				}
			}
		}
		p.say("  08:00 opens no deck; sets %d panels on %s", set, place.Mark)
		return
	}
	p.say("  08:00 opens no deck and sets no panels")
}

// dryIn closes by 14:00 what it can of what was opened, in the order in which it was opened.
func (p *played) dryIn(day int) {
	jobs := p.plan(p.at(day, 7, 6)).Question.Candidates
	at := p.at(day, 8, 0) // an hour for the old roof
	for _, o := range p.morning {
		i := slices.IndexFunc(jobs, func(c tonight.Candidate) bool { return c.ID == string(o.Plane) })
		for _, c := range jobs {
			if c.Cover || c.Where != string(o.Plane) && !slices.Contains(jobs[i].After, c.ID) {
				continue
			}
			if at = at.Add(c.Crew); at.After(p.at(day, 14, 0)) {
				return
			}
			for _, step := range c.Steps {
				p.do(at, events.Place(c.Where), events.StepID(step))
			}
		}
	}
}

// follow does what the plan says.
func (p *played) follow(plan night.Tonight) {
	for _, job := range plan.Answer.Chosen {
		i := slices.IndexFunc(plan.Question.Candidates, func(c tonight.Candidate) bool { return c.ID == job.ID })
		c := plan.Question.Candidates[i]
		if c.Cover {
			p.tell(job.Done, events.CoverPlaced{Where: events.Place(c.Where)})
		} else {
			for _, step := range c.Steps {
				p.do(job.Done, events.Place(c.Where), events.StepID(step))
			}
		}
		p.say("        does %s (%s), done %s, keeps out %s", c.Where, strings.Join(c.Steps, ", "), job.Done.In(p.zone).Format("15:04"), night.Volume(job.KeepsOutL))
	}
	if len(plan.Answer.Chosen) == 0 {
		p.say("        there is nothing to close in the time left")
	}
}

// do reports one step, of a plane no more of it than was opened.
func (p *played) do(at time.Time, where events.Place, id events.StepID) {
	place, _ := p.Place(where)
	i := slices.IndexFunc(place.Steps, func(s roofjob.Step) bool { return s.ID == id })
	step := place.Steps[i]
	var amount *quantity.Amount
	if place.Kind == assembly.PlaneKind && place.OpenedShare() < 1 {
		part := quantity.OfArea(quantity.Area(math.Round(float64(step.Of.Area()) * (place.OpenedShare() - step.Fraction()))))
		if part.Sign() <= 0 {
			return
		}
		amount = &part
	}
	switch step.Kind {
	case assembly.Layer:
		p.tell(at, events.LayerLaid{Where: where, Step: id, Amount: amount})
	case assembly.Trim:
		p.tell(at, events.TrimInstalled{Where: where, Step: id})
	default:
		p.tell(at, events.SealMade{Where: where, Step: id})
	}
}

// leave ends the day: what is open is left by the lead's word. And it asks what may be opened
// tomorrow.
func (p *played) leave(day int) {
	now := p.at(day, 16, 30)
	plan := p.plan(now)
	var open []events.Place
	litres := 0.0
	for _, place := range p.Places() {
		if place.IsOpen() {
			open = append(open, place.Mark)
		}
	}
	for _, place := range plan.Night.Places {
		litres += place.Water.ExpectedL
	}
	ended := events.DayEnded{LeftOpen: open}
	if len(open) > 0 {
		ended.AcceptedBy, ended.Reason = "lead", "no more time"
		p.say("  16:30 leaves open by the lead's word: %s; %s expected in the night", list(open), night.Volume(litres))
	} else {
		p.say("  16:30 leaves nothing open; %s expected in the night", night.Volume(litres))
	}
	p.tell(now, ended)
	heard := p.heard(now)
	told := night.Told{Forecast: heard.Forecast.Forecast, Recorded: heard.Forecast.Recorded}
	days, err := night.Week(p.State, told, plan)
	if err != nil {
		p.t.Fatal(err)
	}
	p.morning = days[0].Opens
	p.say("  tomorrow: %s", days[0].Says)
}

// watch looks every ten minutes, where the service looks each minute, and notes what it tells.
func (p *played) watch(from, to time.Time) {
	for now := from; !now.After(to); now = now.Add(10 * time.Minute) {
		o, err := outlookOf(p.State, p.heard(now), p.stock, now)
		if err != nil {
			p.t.Fatal(err)
		}
		d := Decide(Usual(), o, standing(p.State, o), now)
		clock := now.Format("15:04")
		switch {
		case d.Warn != nil:
			p.tell(now, *d.Warn)
			p.warned = append(p.warned, fmt.Sprintf("%s WARNS %s (%s): %s %s", clock, d.Warn.Told[0].Role, d.Warn.Cause, d.Warn.Why, p.inTime(now)))
		case d.Clear != nil:
			p.tell(now, *d.Clear)
			p.warned = append(p.warned, fmt.Sprintf("%s takes the warning back: %s", clock, d.Clear.Why))
		}
	}
}

// inTime tells whether what is open could still be covered when it was warned of.
func (p *played) inTime(now time.Time) string {
	by := p.plan(now).Answer.CoverBy
	switch {
	case by.IsZero():
		return "[nothing to cover]"
	case now.After(by):
		return fmt.Sprintf("[LATE: covering had to begin by %s]", by.In(p.zone).Format("15:04"))
	}
	return fmt.Sprintf("[in time: covering must begin by %s]", by.In(p.zone).Format("15:04"))
}
