package facade

import (
	"context"
	"fmt"
	"time"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/projections"
	"bydark/projections/ledger"
	"bydark/services/access"
	"bydark/services/cutlist"
	"bydark/services/roofjob"
)

// cutPlans are the plans of a job, one a material that is cut out of lengths or coils.
type cutPlans struct {
	Job   string          `json:"job"`
	Plans []*cutlist.Plan `json:"plans"`
	// Kerf is what a cut takes, Keep the least offcut worth keeping, as the plans reckon.
	Kerf quantity.Length `json:"kerf"`
	Keep quantity.Length `json:"keep"`
	// Moving says how an offer becomes an offcut at hand.
	Moving string `json:"moving"`
}

// howToMove stands by the offers.
const howToMove = "An offer lies on another roof. Once it is brought over, send its report, with an id and a time, to the roof it comes from (send_to): from then on it is an offcut at hand here."

// cutIn is a job's cut plan as it is asked for.
type cutIn struct {
	ViewIn
	Kerf string `query:"kerf" doc:"what a cut takes, such as 1/8 in; nothing: a shear"`
	Keep string `query:"keep" doc:"the least offcut worth keeping; nothing: 2'"`
}

func (in *cutIn) options() (cutlist.Options, error) {
	opt := cutlist.Options{Keep: cutlist.UsualKeep}
	for _, part := range []struct {
		name, text string
		into       *quantity.Length
	}{{"kerf", in.Kerf, &opt.Kerf}, {"keep", in.Keep, &opt.Keep}} {
		if part.text == "" {
			continue
		}
		l, err := quantity.ParseLength(part.text)
		if err != nil || l < 0 || l > quantity.Metre*100 {
			return opt, &events.Refusal{Code: "unreadable-parameter", Where: "?" + part.name, Was: clip(part.text), Want: "a length from zero to 100 m, such as 1/8 in"}
		}
		*part.into = l
	}
	return opt, nil
}

func (s *Server) cutplan(ctx context.Context, who access.Person, in *cutIn) (cutPlans, error) {
	opt, err := in.options()
	if err != nil {
		return cutPlans{}, err
	}
	state, err := s.stateOf(ctx, who, in.ViewIn)
	if err != nil {
		return cutPlans{}, err
	}
	doc := cutPlans{Job: in.Job, Kerf: opt.Kerf, Keep: opt.Keep, Moving: howToMove}
	lines, err := s.lines(ctx, who, &in.ViewIn)
	if err != nil {
		return cutPlans{}, err
	}
	doc.Plans, err = s.cutPlans(ctx, who, state, lines, in.MomentIn, opt)
	return doc, err
}

// longestCutPlan bounds how long all plans of one answer are searched for; what is not
// proven by then says so.
const longestCutPlan = 2 * time.Second

// cutPlans plans every material of a job that is cut out of lengths.
func (s *Server) cutPlans(ctx context.Context, who access.Person, state *roofjob.State, lines []ledger.Line, in MomentIn, opt cutlist.Options) ([]*cutlist.Plan, error) {
	plans := []*cutlist.Plan{}
	if state.Assembly() == nil {
		return plans, nil
	}
	settled, err := s.offcuts(ctx, who, in)
	if err != nil {
		return nil, err
	}
	done, err := s.cuts.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	// The request's own end stops the work, its answer's time only the search.
	search, stop := context.WithTimeout(ctx, longestCutPlan)
	defer stop()
	for i := range state.Assembly().Materials {
		m := &state.Assembly().Materials[i]
		plan, ok, err := cutlist.Of(search, state, m, onHand(lines, m.ID), settled, opt)
		if err != nil {
			return nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("plan the cuts: %w", err)
		}
		if !ok {
			continue
		}
		if !who.May(access.SeePrices) {
			plan.HidePrices()
		}
		plans = append(plans, plan)
	}
	return plans, nil
}

func onHand(lines []ledger.Line, id events.MaterialID) quantity.Length {
	for i := range lines {
		if lines[i].Material == id && lines[i].OnHand.Kind() == quantity.Lengthwise {
			return lines[i].OnHand.Length()
		}
	}
	return 0
}

// offcuts settles where the company's offcuts lie, by what was known at the moment that is
// asked for.
func (s *Server) offcuts(ctx context.Context, who access.Person, in MomentIn) (cutlist.Settled, error) {
	m, err := s.moment(ctx, in)
	if err != nil {
		return cutlist.Settled{}, err
	}
	var turns []cutlist.Turn
	err = s.Store.Read(ctx, func(tx *projections.Tx) error {
		all, err := ledger.Offcuts.All(ctx, tx, string(who.Company))
		for _, t := range all {
			if m.holds(t.At, t.Recorded) {
				turns = append(turns, t)
			}
		}
		return err
	})
	return cutlist.Settle(turns), err
}
