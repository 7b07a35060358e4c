package night

import (
	"fmt"
	"math"
	"slices"
	"time"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/roofjob"
	"bydark/services/weather"
)

// Stand is how one plane or edge stands to the weather: plain data, made from a job's
// state, to be laid under any forecast.
type Stand struct {
	Where events.Place `json:"where"`
	Kind  string       `json:"kind"`
	State string       `json:"state"`
	// Under is the plane whose cover lies over an edge too; empty where none does.
	Under events.Place `json:"under,omitempty"`
	// Ways are the ways in for water; none where it is kept out.
	Ways []weather.Opening `json:"ways,omitempty"`
	// ClosesWith is the step that keeps the water out.
	ClosesWith events.StepID `json:"closes_with,omitempty"`
	Layer      *Layer        `json:"layer,omitempty"`
	Panels     *Panels       `json:"panels,omitempty"`
	PitchDeg   float64       `json:"pitch_deg,omitempty"`
	HeightFt   float64       `json:"height_ft,omitempty"` // mean height of a plane above ground
	// Zones are of a plane on which something is loose.
	Zones *Zones `json:"zones,omitempty"`
}

// Loose says what a strong wind finds to lift at the place; empty where it finds nothing.
func (st Stand) Loose() string {
	switch {
	case st.State == roofjob.Covered && st.Under == "":
		return "a cover"
	case st.Panels != nil:
		return fmt.Sprintf("%d %% of the panels set, not closed round them", st.Panels.SetPct)
	case st.Layer != nil && st.Layer.BareM2 > 0:
		return area(st.Layer.BareM2) + " of " + string(st.Layer.Step)
	}
	return ""
}

// Layer is an underlayment that lies in sun and wind until panels cover it.
type Layer struct {
	Step      events.StepID `json:"step"`
	Laid      time.Time     `json:"laid"`
	BareM2    float64       `json:"uncovered_m2"`
	LimitDays int           `json:"limit_days,omitempty"` // zero: nobody said
	EndsWith  events.StepID `json:"ends_with"`
}

// Panels are panels on a plane that is not closed all round.
type Panels struct {
	SetPct    int           `json:"set_pct"`
	CoverM    float64       `json:"cover_m"`
	FieldM    float64       `json:"clip_spacing_m"` // zero where the assembly has no clips
	RakeM     float64       `json:"clip_spacing_rake_m"`
	Allowable float64       `json:"clip_allowable_n,omitempty"`
	TestedBy  string        `json:"clip_allowable_source,omitempty"`
	EndsWith  events.StepID `json:"ends_with"`
}

// coverLets is the share of the water that gets in under a cover, and closureLets what gets
// in at an edge whose closures are on and whose cap is not: common practice, neither is
// weather-tight.
const (
	coverLets   = 1 - roofjob.CoverSharePct/100.0
	closureLets = 0.1
)

// Stands tells how each plane and edge of a job stands to the weather, planes as drawn,
// then edges; nil before there is a drawing.
func Stands(s *roofjob.State) []Stand { return standsAfter(s, nil) }

// done is what a plan does at places: closes them, or where false only covers them.
type done map[events.Place]bool

// standsAfter is Stands as they will be once a plan is done. Of a place that is closed it
// tells only that no water goes in.
func standsAfter(s *roofjob.State, after done) []Stand {
	r := s.Roof()
	if r == nil {
		return nil
	}
	b := standing{state: s, roof: r, assembly: s.Assembly(), places: s.Places(), planes: map[events.Place]roofjob.Place{}, after: after}
	for i, p := range b.places {
		if closed, planned := after[p.Mark]; planned && !closed {
			b.places[i].State = roofjob.Covered
			p = b.places[i]
		}
		if p.Kind == assembly.PlaneKind {
			b.planes[p.Mark] = p
		}
	}
	takes := taking{}
	for _, p := range b.places {
		takes[p.Mark] = b.takes(p)
	}
	water := lead(r, takes)
	all := make([]Stand, 0, len(b.places))
	for _, p := range b.places {
		all = append(all, b.stand(p, water))
	}
	return all
}

// standing is a job while its stands are made.
type standing struct {
	state    *roofjob.State
	roof     *roof.Roof
	assembly *assembly.Assembly
	places   []roofjob.Place
	planes   map[events.Place]roofjob.Place
	after    done
}

// under is what a cover lets through, where one lies.
func under(p roofjob.Place) float64 {
	if p.State == roofjob.Covered {
		return coverLets
	}
	return 1
}

// takes is the share of the water coming to a place that goes in there: into bare deck,
// into a valley without its barrier, and into panels that end in the water's way at a break
// or a wall. Water leaves over eaves and rakes and runs past panels that overhang a valley
// under its barrier.
func (b *standing) takes(p roofjob.Place) float64 {
	switch {
	case b.after[p.Mark]:
		return 0
	case p.Kind == assembly.PlaneKind:
		return p.BareShare() * under(p)
	case p.Kind == string(roof.Valley) && !p.Panelled && (p.State == assembly.Open || p.State == roofjob.Covered):
		return under(p)
	case p.Kind == string(roof.Break) || p.Kind == string(roof.Wall):
		return b.openShare(p) * under(p)
	}
	return 0
}

// openShare is how much of an edge's length is a way in under the panels at it, from 0 to 1:
// not where the steps that come after the panels were done.
func (b *standing) openShare(p roofjob.Place) float64 {
	if !p.Panelled || !p.IsOpen() && p.State != roofjob.Covered {
		return 0
	}
	shut, closed, after := 0.0, 0.0, false
	for i, step := range b.steps(p) {
		after = after || len(step.AfterPlane) > 0
		if !after {
			continue
		}
		switch step.Becomes {
		case assembly.DriedIn:
			shut = max(shut, p.Steps[i].Fraction())
		case assembly.WeatherTight:
			closed = max(closed, p.Steps[i].Fraction())
		}
	}
	// What is capped is closed; what has closures and no cap lets a little in.
	return max(0, 1-max(shut, closed)) + closureLets*max(0, shut-closed)
}

func (b *standing) stand(p roofjob.Place, water entering) Stand {
	st := Stand{Where: p.Mark, Kind: p.Kind, State: p.State, Under: p.CoverOf}
	if b.after[p.Mark] {
		st.State = assembly.DriedIn
		return st
	}
	for _, step := range p.Missing() {
		if step.Becomes == assembly.DriedIn || step.Becomes == assembly.WeatherTight {
			st.ClosesWith = step.ID
			if !p.Panelled || step.Becomes == assembly.WeatherTight {
				break
			}
		}
	}
	direct, runoff := water.direct[p.Mark], water.runoff[p.Mark]
	if direct > 0 || runoff > 0 {
		st.Ways = append(st.Ways, weather.Opening{BareM2: direct, DrainedM2: runoff, RunoffShare: 1, RunoffC: weather.MetalRunoffC, WindFactor: 1})
	}
	if p.Kind == assembly.PlaneKind {
		b.plane(p, &st)
		return st
	}
	if o := b.opening(p); o != nil {
		st.Ways = append(st.Ways, b.round(p, o)...)
		return st
	}
	st.Ways = append(st.Ways, b.gaps(p)...)
	return st
}

// gaps are the upright gaps under the panels at an edge, each looking where wind drives rain
// into it.
func (b *standing) gaps(p roofjob.Place) []weather.Opening {
	share := b.openShare(p) * under(p)
	height := b.assembly.Edges[p.Kind].Opening.Metres()
	e, ok := b.roof.Edge(roof.EdgeMark(p.Mark))
	if share == 0 || height == 0 || !ok {
		return nil
	}
	var gaps []weather.Opening
	for _, mark := range e.Planes {
		plane, _ := b.roof.Plane(mark)
		set := b.planes[events.Place(mark)].SetShare()
		if set == 0 || plane == nil {
			continue
		}
		length := e.Length.Metres() * share
		if e.Kind != roof.Rake {
			length *= set // a rake's gap is there with the first panel
		}
		facing, ok := facing(e, plane)
		if !ok {
			continue
		}
		gaps = append(gaps, weather.Opening{LengthM: length, HeightM: height, FacingDeg: facing, WindFactor: 1})
	}
	return gaps
}

// facing is the bearing towards which the gap of a plane's panels looks at an edge; false
// where no wind reaches it: at a break the plane above overhangs its own lower end.
func facing(e *roof.Edge, p *roof.Plane) (float64, bool) {
	up := math.Mod(p.FallsDeg+180, 360)
	switch e.Kind {
	case roof.Wall:
		// Rain on the wall runs down into the gap: wind onto the wall's face.
		if e.IsFree() {
			return math.Mod(e.FacingDeg+180, 360), true
		}
		return up, true
	case roof.Ridge, roof.Hip:
		if e.IsFree() {
			return e.FacingDeg, true
		}
		return up, true
	case roof.Break:
		upper := slices.ContainsFunc(p.Drains, func(d roof.Drain) bool { return d.Edge == e.Mark })
		return up, !upper
	case roof.Valley:
		return p.FallsDeg, true
	}
	return e.FacingDeg, true
}

// plane adds what lies on a plane and is not closed all round.
func (b *standing) plane(p roofjob.Place, st *Stand) {
	drawn, ok := b.roof.Plane(roof.PlaneMark(p.Mark))
	if !ok {
		return
	}
	top := drawn.EaveHeight
	for _, at := range drawn.Outline {
		top = max(top, drawn.Height(at))
	}
	st.HeightFt = (drawn.EaveHeight + (top-drawn.EaveHeight)/2).Feet()
	st.PitchDeg = math.Atan(drawn.Pitch.Slope()) * 180 / math.Pi
	set := p.SetShare()
	for i, step := range b.assembly.Plane {
		done := p.Steps[i]
		switch {
		case step.Kind == assembly.Layer && step.Becomes != "" && done.Fraction() > set && !done.First.IsZero():
			st.Layer = &Layer{Step: step.ID, Laid: done.First, BareM2: p.Extent.Area().SquareMetres() * (done.Fraction() - set), LimitDays: b.assembly.SunDays}
		case step.Kind == assembly.Panels:
			if st.Layer != nil {
				st.Layer.EndsWith = step.ID
			}
			if set > 0 && (set < 1 || b.openAround(p)) {
				st.Panels = b.panels(step, set)
			}
		}
	}
	if st.Layer != nil || st.Panels != nil {
		st.Zones = b.zones(drawn, st)
	}
}

// openAround tells whether an edge at the plane is not closed.
func (b *standing) openAround(p roofjob.Place) bool {
	return slices.ContainsFunc(b.places, func(e roofjob.Place) bool {
		return e.Kind != assembly.PlaneKind && slices.Contains(e.Planes, p.Mark) && e.State != assembly.WeatherTight
	})
}

func (b *standing) panels(step assembly.Step, set float64) *Panels {
	panel := b.assembly.Panel
	got := &Panels{SetPct: int(math.Floor(100 * set)), CoverM: panel.Cover.Metres(), EndsWith: step.ID}
	for _, use := range step.Uses {
		if use.Clips != nil {
			got.FieldM, got.RakeM = use.Clips.Field.Metres(), use.Clips.Rake.Metres()
		}
	}
	got.Allowable, got.TestedBy = panel.ClipAllowableN, panel.ClipAllowableSource
	return got
}
