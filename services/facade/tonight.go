package facade

import (
	"context"
	"fmt"
	"strings"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections/ledger"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/night"
	"bydark/services/roofjob"
	"bydark/services/tonight"
	"bydark/services/weather"
)

type (
	tonightDoc struct {
		LeaveBy  time.Time `json:"leave_by"`
		LeaveWhy string    `json:"leave_by_because"`
		// Of these the earliest is LeaveBy; ShiftEnd and LeadSet where a day says them.
		LightEnd    time.Time `json:"light_end"`
		ShiftEnd    time.Time `json:"shift_end,omitzero"`
		LeadSet     time.Time `json:"lead_leave_by,omitzero"`
		Now         time.Time `json:"now"` // the moment that is looked at
		Start       time.Time `json:"next_start"`
		MinutesLeft int       `json:"minutes_left"`
		Heads       int       `json:"heads"`
		HeadsWhy    string    `json:"heads_why"`
		RainMM      float64   `json:"rain_mm"`
		// RainStart is when it begins to rain before leaving; RainAssumed, that nobody
		// forecast it.
		RainStart   time.Time      `json:"rain_start,omitzero"`
		RainAssumed bool           `json:"rain_assumed"`
		Assumes     string         `json:"assumes"`
		Candidates  []candidateDoc `json:"candidates"`
		Chosen      []string       `json:"chosen"`
		Schedule    []scheduledDoc `json:"schedule"`
		KeepsOutL   float64        `json:"keeps_out_l"`
		BoundL      float64        `json:"bound_l"`
		// RoofKeepsOutL is what the plan keeps out of the whole roof overnight: run-on that a
		// closed plane sheds on to what lies below is taken off it, drips before leaving do not
		// count.
		RoofKeepsOutL float64           `json:"roof_keeps_out_l"`
		LeftOpen      []leftDoc         `json:"left_open"`
		Proven        bool              `json:"proven"`
		CoverBy       time.Time         `json:"cover_by,omitzero"`
		Fetch         []needDoc         `json:"fetch"`
		FetchGainL    float64           `json:"fetch_gain_l"`
		Cautions      []string          `json:"cautions"`
		Water         night.Water       `json:"water"`
		Worst         time.Time         `json:"worst_hour,omitzero"`
		WorstL        float64           `json:"worst_hour_l"`
		Forecast      *night.Heard      `json:"forecast,omitempty"`
		Rules         []weather.Caution `json:"caution_rules"`
		// Paces are what the job's own reports teach about the crew, beside the given rates.
		Paces []roofjob.Pace `json:"paces"`
		// Week is how much deck may be opened tomorrow and on the days after it, each by
		// itself, and still be dried in.
		Week []night.Ahead `json:"week"`
	}
	candidateDoc struct {
		ID       string   `json:"id"`
		Where    string   `json:"where"`
		StepList []string `json:"step_list"`
		CrewMin  int      `json:"crew_min"`
		Heads    int      `json:"least_heads"`
		After    []string `json:"after"`
		Instead  []string `json:"instead_of"`
		// KeepsOutL is over the night, DripLH in each hour of rain before it.
		KeepsOutL float64   `json:"keeps_out_l"`
		DripLH    float64   `json:"drip_l_h"`
		Needs     []needDoc `json:"needs"`
		InStock   bool      `json:"in_stock"`
		Cover     bool      `json:"cover"`
	}
	needDoc struct {
		Material string          `json:"material"`
		Name     string          `json:"name"`
		Amount   quantity.Amount `json:"amount"`
	}
	scheduledDoc struct {
		ID        string    `json:"id"`
		Start     time.Time `json:"start"`
		Done      time.Time `json:"done"`
		KeepsOutL float64   `json:"keeps_out_l"`
	}
	leftDoc struct {
		Where string `json:"where"`
		// EntersL is by the weight that plans go by, with the plan done: together with what
		// the plan keeps out of the roof it is the whole night's.
		EntersL   float64 `json:"enters_l"`
		ExpectedL float64 `json:"expected_l"`
		IfRainL   float64 `json:"if_rain_l"`
		Why       string  `json:"why"`
		Means     string  `json:"means"`
	}
)

// lookOut is what a look at a roof's night is made from: its state, the forecast that was
// known, and the moment.
type lookOut struct {
	moment
	state *roofjob.State
	told  night.Told
	now   time.Time
}

// lookOut folds a job once and finds its forecast.
func (s *Server) lookOut(ctx context.Context, who access.Person, in *ViewIn) (lookOut, error) {
	m, err := s.moment(ctx, in.MomentIn)
	if err != nil {
		return lookOut{}, err
	}
	state, err := s.state(ctx, who.Company, in.Job, m)
	if err != nil {
		return lookOut{}, err
	}
	told, now, err := s.told(ctx, who, in.Job, m)
	return lookOut{m, state, told, now}, err
}

// told is the forecast of a job that was known at a moment, and which time it was then.
func (s *Server) told(ctx context.Context, who access.Person, job string, m moment) (night.Told, time.Time, error) {
	now := s.Now()
	if !m.at.IsZero() {
		now = m.at
	}
	known, err := s.Sky.Known(ctx, who.Company, events.JobID(job), m.known)
	return night.Told{Forecast: known.Forecast.Forecast, Recorded: known.Forecast.Recorded, Alerts: known.Alerts.Alerts}, now, err
}

func (s *Server) tonight(ctx context.Context, who access.Person, in *ViewIn) (tonightDoc, error) {
	at, err := s.lookOut(ctx, who, in)
	if err != nil {
		return tonightDoc{}, err
	}
	stock, err := s.stock(ctx, who, at)
	if err != nil {
		return tonightDoc{}, err
	}
	done, err := s.nights.enter(ctx)
	if err != nil {
		return tonightDoc{}, err
	}
	defer done()
	plan, err := night.Plan(at.state, at.told, stock, nil, at.now)
	if err != nil {
		return tonightDoc{}, err
	}
	doc := documentOf(at.state, plan)
	doc.Paces = whole(at.state.Paces())
	doc.Week, err = night.Week(at.state, at.told, plan)
	return doc, err
}

// stock is what is at hand at a job by material, in the materials' smallest units.
func (s *Server) stock(ctx context.Context, who access.Person, at lookOut) (map[string]int64, error) {
	lines, err := ledger.Fold(at.state)
	if err != nil {
		return nil, err
	}
	if lines, err = s.withMoves(ctx, who, lines, at.state.Job, at.moment); err != nil {
		return nil, err
	}
	stock := map[string]int64{}
	for _, l := range lines {
		stock[string(l.Material)] = roofjob.Smallest(l.OnHand)
	}
	return stock, nil
}

func documentOf(state *roofjob.State, t night.Tonight) tonightDoc {
	w, got := t.Window, t.Answer
	doc := tonightDoc{
		LeaveBy: w.LeaveBy, LeaveWhy: w.Because, LightEnd: w.LightEnd, ShiftEnd: w.ShiftEnd, LeadSet: w.LeadSet, Now: w.Now, Start: w.Start, MinutesLeft: got.MinutesLeft, Heads: w.Heads, HeadsWhy: w.HeadsWhy, RainMM: t.Night.RainMM,
		RainStart: t.RainStart, RainAssumed: t.Question.RainAssumed, Candidates: []candidateDoc{}, Chosen: []string{}, Schedule: []scheduledDoc{},
		KeepsOutL: got.KeepsOutL, BoundL: got.BoundL, RoofKeepsOutL: t.KeepsOutL(), LeftOpen: []leftDoc{}, Proven: got.Proven, CoverBy: got.CoverBy,
		Fetch: needsOf(state, got.Fetch), FetchGainL: got.FetchGainL, Cautions: []string{}, Rules: whole(t.Cautions),
		Water: t.Night.Water, Worst: t.Night.Worst, WorstL: t.Night.WorstL, Forecast: t.Night.Forecast,
	}
	doc.Assumes = fmt.Sprintf("Leave by %s. %s Minutes are from the rates given at first, times the crew's own pace where its reports tell it; litres rank what is open and forecast no leak: what is expected, but not less than a tenth of what a wet night would bring.", w.Because, t.Night.Assumes)
	for _, c := range t.Question.Candidates {
		d := candidateDoc{
			ID: c.ID, Where: c.Where, StepList: whole(c.Steps), CrewMin: int(c.Crew / time.Minute), Heads: c.LeastHeads, After: whole(c.After), Instead: whole(c.Instead),
			KeepsOutL: c.NightL, DripLH: c.DripLH, Needs: needsOf(state, c.Needs), InStock: true, Cover: c.Cover,
		}
		for _, n := range c.Needs {
			d.InStock = d.InStock && t.Question.Stock[n.Material] >= n.Amount
		}
		doc.Candidates = append(doc.Candidates, d)
	}
	doc.leave(state, t)
	for _, c := range t.Cautions {
		doc.Cautions = append(doc.Cautions, c.Text+" ("+c.Rule+")")
	}
	doc.Cautions = append(doc.Cautions, state.Assembly().Notes...)
	return doc
}

// leave fills in what is done when, and what stays open and what that means.
func (doc *tonightDoc) leave(state *roofjob.State, t night.Tonight) {
	where, lacking := map[string]string{}, map[string]string{}
	for _, c := range t.Question.Candidates {
		where[c.ID] = c.Where
		lacking[c.ID] = lackingOf(state, c.Needs, t.Question.Stock)
	}
	closed := map[string]bool{}
	for _, job := range t.Answer.Chosen {
		doc.Chosen = append(doc.Chosen, job.ID)
		doc.Schedule = append(doc.Schedule, scheduledDoc{job.ID, job.Start, job.Done, job.KeepsOutL})
		closed[where[job.ID]] = true
	}
	why := map[string]string{}
	for _, left := range t.Answer.Left {
		if _, known := why[where[left.ID]]; !known {
			why[where[left.ID]] = string(left.Why)
			if left.Why == tonight.NotInStock {
				why[where[left.ID]] += lacking[left.ID]
			}
		}
	}
	// What enters is reckoned with the plan done.
	for _, p := range t.After.Places {
		reason, planned := why[string(p.Where)]
		stands, _ := state.Place(p.Where)
		if p.WeightL == 0 && (closed[string(p.Where)] || !planned && !stands.IsOpen()) {
			continue
		}
		l := leftDoc{Where: string(p.Where), EntersL: p.WeightL, ExpectedL: p.Water.ExpectedL, IfRainL: p.Water.IfRainL}
		switch {
		case p.State == roofjob.Covered:
			l.Why = fmt.Sprintf("Under its cover some still comes in: %s expected.", night.Volume(p.Water.ExpectedL))
		case !planned:
			l.Why = "Not closed: none of its steps can come next yet."
		default:
			l.Why = "Not closed: " + reason + "."
		}
		l.Means = "No water of its own is reckoned here"
		if stands.Kind != assembly.PlaneKind {
			l.Means += ": bare deck at it counts with its plane"
		}
		l.Means += "."
		if len(p.Reasons) > 0 && p.Reasons[0].Code == "rain" {
			l.Means = p.Reasons[0].Text
		}
		doc.LeftOpen = append(doc.LeftOpen, l)
	}
}

// lackingOf names the materials that a job needs and the roof has too little of.
func lackingOf(state *roofjob.State, needs []tonight.Need, stock map[string]int64) string {
	var names []string
	for _, n := range needs {
		if m, ok := state.Assembly().Material(events.MaterialID(n.Material)); ok && stock[n.Material] < n.Amount {
			names = append(names, m.Name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return ": " + strings.Join(names, ", ")
}

func needsOf(state *roofjob.State, needs []tonight.Need) []needDoc {
	docs := []needDoc{}
	for _, n := range needs {
		if m, ok := state.Assembly().Material(events.MaterialID(n.Material)); ok {
			docs = append(docs, needDoc{n.Material, m.Name, roofjob.FromSmallest(m, n.Amount)})
		}
	}
	return docs
}
