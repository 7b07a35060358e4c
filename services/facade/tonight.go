package facade

import (
	"context"
	"fmt"
	"math"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roofjob"
	"bydark/services/sky"
	"bydark/services/tonight"
	"bydark/services/weather"
)

type (
	tonightDoc struct {
		LeaveBy     time.Time      `json:"leave_by"`
		MinutesLeft int            `json:"minutes_left"`
		Heads       int            `json:"heads"`
		RainMM      float64        `json:"rain_mm"`
		Assumes     string         `json:"assumes"`
		Candidates  []candidateDoc `json:"candidates"`
		Chosen      []string       `json:"chosen"`
		KeepsOutL   float64        `json:"keeps_out_l"`
		BoundL      float64        `json:"bound_l"`
		LeftOpen    []leftDoc      `json:"left_open"`
		Proven      bool           `json:"proven"`
		Cautions    []string       `json:"cautions"`
	}
	candidateDoc struct {
		ID        string    `json:"id"`
		Where     string    `json:"where"`
		StepList  []string  `json:"step_list"`
		CrewMin   int       `json:"crew_min"`
		After     []string  `json:"after"`
		Instead   []string  `json:"instead_of"`
		KeepsOutL float64   `json:"keeps_out_l"`
		Needs     []needDoc `json:"needs"`
		InStock   bool      `json:"in_stock"`
		Cover     bool      `json:"cover"`
	}
	needDoc struct {
		Material string          `json:"material"`
		Amount   quantity.Amount `json:"amount"`
	}
	leftDoc struct {
		Where   string  `json:"where"`
		EntersL float64 `json:"enters_l"`
		Why     string  `json:"why"`
	}
)

const (
	// assumedRainMM is what a night without a forecast is reckoned with: common
	// practice is to plan for rain; the figure is a house default.
	assumedRainMM = 10
	assumedHeads  = 3
	morning       = 7 // o'clock, local, when work starts again
)

func (s *Server) tonight(ctx context.Context, who access.Person, in *ViewIn) (tonightDoc, error) {
	state, err := s.stateOf(ctx, who, *in)
	if err != nil {
		return tonightDoc{}, err
	}
	m, err := s.moment(ctx, MomentIn{At: in.At, Known: in.Known})
	if err != nil {
		return tonightDoc{}, err
	}
	now := s.Now()
	if !m.at.IsZero() {
		now = m.at
	}
	forecast, known, err := s.Sky.Latest(ctx, who.Company, events.JobID(in.Job), m.known)
	if err != nil {
		return tonightDoc{}, err
	}
	var hours []weather.Hour
	if known {
		hours = forecast.Hours
	}
	lines, err := s.ledger(ctx, who, in)
	if err != nil {
		return tonightDoc{}, err
	}
	stock := map[string]int64{}
	for _, l := range lines.Lines {
		stock[string(l.Material)] = roofjob.Smallest(l.OnHand)
	}
	return plan(state, now, forecast, hours, stock)
}

func plan(state *roofjob.State, now time.Time, forecast sky.Kept, hours []weather.Hour, stock map[string]int64) (tonightDoc, error) {
	site := state.Opened().Site
	zone, err := time.LoadLocation(site.Zone)
	if err != nil {
		return tonightDoc{}, fmt.Errorf("zone of job %s: %w", state.Job, err)
	}
	doc := tonightDoc{Heads: assumedHeads, Candidates: []candidateDoc{}, Chosen: []string{}, LeftOpen: []leftDoc{}, Cautions: []string{}}
	sun, err := weather.Sun(site.Lat, site.Lon, now.In(zone))
	if err != nil {
		return tonightDoc{}, err
	}
	local := now.In(zone)
	doc.LeaveBy = time.Date(local.Year(), local.Month(), local.Day(), 20, 0, 0, 0, zone)
	leave := "20:00, since the sun does not set"
	if dusk := sun.CivilDusk; !dusk.At.IsZero() {
		doc.LeaveBy, leave = dusk.At.Truncate(time.Minute), "civil dusk"
	}
	if n := state.PlannedHeads(); n > 0 {
		doc.Heads = n
	}
	if day, began := state.Day(); day != nil && now.Sub(began) < 24*time.Hour {
		doc.Heads = day.Heads
		if day.ShiftEnd.Before(doc.LeaveBy) {
			doc.LeaveBy, leave = day.ShiftEnd, "the end of the shift"
		}
	}
	start := time.Date(doc.LeaveBy.In(zone).Year(), doc.LeaveBy.In(zone).Month(), doc.LeaveBy.In(zone).Day()+1, morning, 0, 0, 0, zone)
	rain, begins, told := rainIn(hours, now, doc.LeaveBy, start)
	doc.RainMM = rain
	if told {
		doc.Assumes = fmt.Sprintf("Leave by %s. The forecast recorded %s has %.1f mm of rain until %s.", leave, forecast.Recorded.In(zone).Format("2 Jan 15:04"), rain, start.Format("2 Jan 15:04"))
	} else {
		doc.RainMM = assumedRainMM
		doc.Assumes = fmt.Sprintf("Leave by %s. No forecast reaches until %s: %d mm of rain is assumed.", leave, start.Format("2 Jan 15:04"), assumedRainMM)
	}
	doc.Assumes += " Minutes are from rates given at first; litres rank what is open and forecast no leak."
	question := tonight.Question{Now: now.Truncate(time.Minute), LeaveBy: doc.LeaveBy, RainStart: begins, Heads: doc.Heads, Candidates: state.Closing(doc.Heads, doc.RainMM), Stock: stock}
	answer, err := tonight.Plan(question)
	if err != nil {
		return tonightDoc{}, err
	}
	fillPlan(&doc, state.Assembly(), question, answer)
	for _, c := range weather.Cautions(hours, now, start, highestEave(state)) {
		doc.Cautions = append(doc.Cautions, c.Text)
	}
	doc.Cautions = append(doc.Cautions, state.Assembly().Notes...)
	return doc, nil
}

func fillPlan(doc *tonightDoc, a *assembly.Assembly, q tonight.Question, got tonight.Answer) {
	doc.MinutesLeft, doc.KeepsOutL, doc.BoundL, doc.Proven = got.MinutesLeft, got.KeepsOutL, got.BoundL, got.Proven
	for _, c := range q.Candidates {
		d := candidateDoc{
			ID: c.ID, Where: c.Where, StepList: whole(c.Steps), CrewMin: int(c.Crew / time.Minute), After: whole(c.After), Instead: whole(c.Instead),
			KeepsOutL: c.NightL, Needs: []needDoc{}, InStock: true, Cover: c.Cover,
		}
		for _, n := range c.Needs {
			if m, ok := a.Material(events.MaterialID(n.Material)); ok {
				d.Needs = append(d.Needs, needDoc{n.Material, roofjob.FromSmallest(m, n.Amount)})
			}
			d.InStock = d.InStock && q.Stock[n.Material] >= n.Amount
		}
		doc.Candidates = append(doc.Candidates, d)
	}
	closed := map[string]bool{}
	for _, job := range got.Chosen {
		doc.Chosen = append(doc.Chosen, job.ID)
		for _, c := range q.Candidates {
			if c.ID == job.ID {
				closed[c.Where] = true
			}
		}
	}
	for _, left := range got.Left {
		for _, c := range q.Candidates {
			if c.ID == left.ID && !closed[c.Where] {
				closed[c.Where] = true
				doc.LeftOpen = append(doc.LeftOpen, leftDoc{c.Where, c.NightL, "Not closed: " + string(left.Why) + "."})
			}
		}
	}
}

// rainIn sums the forecast's rain from leaving until the next start, and tells when it
// begins to rain before leaving; false where the forecast does not reach the night.
func rainIn(hours []weather.Hour, now, leave, start time.Time) (mm float64, begins time.Time, told bool) {
	for _, h := range hours {
		if !h.RainMM.Known {
			continue
		}
		end := h.Time.Add(time.Hour)
		if h.Time.Before(start) && end.After(leave) {
			from, to := later(h.Time, leave), earlier(end, start)
			mm += h.RainMM.V * to.Sub(from).Hours()
			told = true
		}
		if begins.IsZero() && h.RainMM.V > 0 && end.After(now) && h.Time.Before(leave) {
			begins = later(h.Time, now)
		}
	}
	return math.Round(mm*1e6) / 1e6, begins, told
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func highestEave(state *roofjob.State) float64 {
	feet := 0.0
	for _, p := range state.Roof().Planes {
		feet = max(feet, p.EaveHeight.Feet())
	}
	return feet
}
