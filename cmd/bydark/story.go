package main

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"bydark/services/access"
	"bydark/services/assembly"
)

// play tells the story of three roofs.
func (s *scenario) play(ctx context.Context) error {
	for _, roof := range []func(context.Context) error{s.gable, s.ell, s.shed} {
		if err := roof(ctx); err != nil {
			return err
		}
	}
	return nil
}

// spot is a plane or edge as the exposure view lists it.
type spot struct {
	Where  string   `json:"where"`
	Kind   string   `json:"kind"`
	Planes []string `json:"planes"`
	Steps  []struct {
		Step string `json:"step"`
		Kind string `json:"kind"`
	} `json:"steps"`
}

func (s *scenario) spots(ctx context.Context) ([]spot, error) {
	var doc struct {
		Places []spot `json:"places"`
	}
	err := s.call(ctx, access.Lead, http.MethodGet, fmt.Sprintf("/v1/jobs/%s/exposure?after=%d", s.job, s.last), nil, &doc)
	return doc.Places, err
}

// sheet is a panel of the takeoff.
type sheet struct {
	Mark   string `json:"mark"`
	Length string `json:"length"`
}

func (s *scenario) sheets(ctx context.Context, plane string) ([]sheet, error) {
	var doc struct {
		Planes []struct {
			Mark   string  `json:"mark"`
			Panels []sheet `json:"panels"`
		} `json:"planes"`
	}
	if err := s.call(ctx, access.Lead, http.MethodGet, "/v1/jobs/"+s.job+"/takeoff", nil, &doc); err != nil {
		return nil, err
	}
	for _, p := range doc.Planes {
		if p.Mark == plane {
			return p.Panels, nil
		}
	}
	return nil, fmt.Errorf("no plane %s in the takeoff of %s", plane, s.job)
}

// early are the edge steps that come before a plane's felt.
var early = []string{"ice-barrier", "eave-trim", "starter-cleat"}

// prepare opens a plane's deck, does what comes before the felt at its edges, and dries
// it in.
func (s *scenario) prepare(places []spot, plane string, layers ...string) []fields {
	reports := []fields{s.report("deck-opened", fields{"where": plane})}
	for _, p := range places {
		if p.Kind == assembly.PlaneKind || !slices.Contains(p.Planes, plane) {
			continue
		}
		for _, step := range p.Steps {
			if !slices.Contains(early, step.Step) {
				continue
			}
			kind := "trim-installed"
			if step.Kind == assembly.Layer {
				kind = "layer-laid"
			}
			reports = append(reports, s.report(kind, fields{"where": p.Where, "step": step.Step}))
		}
	}
	for _, layer := range layers {
		reports = append(reports, s.report("layer-laid", fields{"where": plane, "step": layer}))
	}
	return reports
}

// panel cuts and sets the first n panels of a plane.
func (s *scenario) panel(sheets []sheet, n int) []fields {
	var reports []fields
	for _, p := range sheets[:min(n, len(sheets))] {
		reports = append(reports,
			s.report("panel-cut", fields{"piece": p.Mark, "length": p.Length, "from": fields{"coil": "coil 7"}}),
			s.report("panel-set", fields{"piece": p.Mark}))
	}
	return reports
}

// finish does what is left at an edge.
func (s *scenario) finish(p spot) []fields {
	var reports []fields
	for _, step := range p.Steps {
		if slices.Contains(early, step.Step) || step.Kind == assembly.Layer {
			continue
		}
		kind := "trim-installed"
		if step.Kind == assembly.Seal {
			kind = "seal-made"
		}
		reports = append(reports, s.report(kind, fields{"where": p.Where, "step": step.Step}))
	}
	return reports
}

// delivered receives the whole order of every material but those named.
func (s *scenario) delivered(ctx context.Context, order string, but ...string) (fields, error) {
	var doc struct {
		Lines []struct {
			Material string `json:"material"`
			Order    string `json:"order"`
		} `json:"lines"`
	}
	if err := s.call(ctx, access.Lead, http.MethodGet, fmt.Sprintf("/v1/jobs/%s/ledger?after=%d", s.job, s.last), nil, &doc); err != nil {
		return nil, err
	}
	var lines []fields
	for _, l := range doc.Lines {
		// What the roof takes none of has an order of zero.
		if !slices.Contains(but, l.Material) && !strings.HasPrefix(l.Order, "0") {
			lines = append(lines, fields{"material": l.Material, "amount": l.Order})
		}
	}
	return s.report("material-received", fields{"order": order, "lines": lines}), nil
}

func (s *scenario) startDay(heads int) fields {
	end := time.Date(s.clock.Year(), s.clock.Month(), s.clock.Day(), 16, 30, 0, 0, s.clock.Location())
	return s.report("day-started", fields{"heads": heads, "shift_end": end.Format(time.RFC3339)})
}

// gable is a gable nearly done: a short delivery, a spoiled panel, a miscut, a mistake
// taken back, a late and a repeated report; one ridge is left.
func (s *scenario) gable(ctx context.Context) error {
	if err := s.open(ctx, "mill-gable", "Gable at the mill", "flat-clip", 6); err != nil {
		return err
	}
	places, err := s.spots(ctx)
	if err != nil {
		return err
	}
	rest, err := s.delivered(ctx, "M-0", "felt", "panel", "clip")
	if err != nil {
		return err
	}
	steps := []func() error{
		func() error {
			return s.send(ctx, access.Purchasing, rest,
				s.report("material-ordered", fields{"order": "M-1", "lines": []fields{{"material": "felt", "amount": "6 rolls"}, {"material": "panel", "amount": "2 coils"}, {"material": "clip", "amount": "6 boxes"}}}),
				s.report("material-received", fields{"order": "M-1", "lines": []fields{{"material": "felt", "amount": "5 rolls", "short": "1 roll"}, {"material": "panel", "amount": "2 coils"}, {"material": "clip", "amount": "6 boxes"}}}))
		},
		func() error { return s.send(ctx, access.Lead, s.startDay(3)) },
		func() error {
			return s.send(ctx, access.Hand, s.report("measure-taken", fields{"where": "A", "of": "three-four-five", "values": []string{"12'", "16'", `20'-1/16"`}}))
		},
		func() error {
			return s.send(ctx, access.Hand, append(s.prepare(places, "A", "deck-check", "felt", "slip-sheet"), s.prepare(places, "B", "deck-check", "felt", "slip-sheet")...)...)
		},
		func() error {
			return s.send(ctx, access.Lead, s.report("day-ended", fields{"left_open": []string{}}))
		},
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
	}
	s.tomorrow()
	return s.gablePanels(ctx, places)
}

func (s *scenario) gablePanels(ctx context.Context, places []spot) error {
	if err := s.send(ctx, access.Lead, s.startDay(3)); err != nil {
		return err
	}
	for _, plane := range []string{"A", "B"} {
		sheets, err := s.sheets(ctx, plane)
		if err != nil {
			return err
		}
		reports := s.panel(sheets, len(sheets))
		if err := s.send(ctx, access.Hand, reports...); err != nil {
			return err
		}
		// One bar of signal: the phone sends its last ten once more.
		if err := s.send(ctx, access.Hand, reports[len(reports)-10:]...); err != nil {
			return err
		}
	}
	s.tomorrow()
	reports := []fields{
		s.report("panel-cut", fields{"piece": "B-07", "length": "13'", "from": fields{"coil": "coil 7"}, "miscut": "read the tape at the wrong foot"}),
		s.report("measure-taken", fields{"where": "eave-1", "of": "spacing", "values": []string{`24"`, `27 1/2"`}}),
		s.report("trim-installed", fields{"where": "ridge-1", "step": "cap", "amount": "10'"}),
	}
	wrong := reports[2]["id"]
	for _, p := range places {
		if p.Kind == "eave" || p.Kind == "rake" {
			reports = append(reports, s.finish(p)...)
		}
	}
	if err := s.send(ctx, access.Hand, reports...); err != nil {
		return err
	}
	ridge := s.report("trim-installed", fields{"where": "ridge-1", "step": "closures", "amount": "24'"})
	return s.send(ctx, access.Lead,
		s.report("material-spoiled", fields{"material": "panel", "amount": "13'-6\"", "reason": "a gust took a panel off the trestles"}),
		s.report("report-withdrawn", fields{"report": wrong, "reason": "that was the shed's ridge"}),
		ridge,
		s.report("punch-raised", fields{"where": "rake-2", "what": "Scratch in the paint at the second length.", "blocks": "closeout"}),
		s.report("check-signed", fields{"check": "A/deck-check/sound"}),
		s.report("check-signed", fields{"check": "B/deck-check/sound"}),
		s.report("material-counted", fields{"material": "clip", "amount": "310 each", "reason": "Friday's count"}),
		s.report("day-ended", fields{"left_open": []string{"ridge-1"}, "accepted_by": "Rowan", "reason": "dry night, closures half on"}))
}

// ell is a hipped L with one side of its valley still bare.
func (s *scenario) ell(ctx context.Context) error {
	if err := s.open(ctx, "orchard-ell", "Hipped L in the orchard", "flat-clip", 3); err != nil {
		return err
	}
	places, err := s.spots(ctx)
	if err != nil {
		return err
	}
	planes := []string{}
	var valley spot
	for _, p := range places {
		if p.Kind == assembly.PlaneKind {
			planes = append(planes, p.Where)
		}
		if p.Kind == "valley" {
			valley = p
		}
	}
	rest, err := s.delivered(ctx, "M-1", "felt", "ice-barrier", "panel")
	if err != nil {
		return err
	}
	if err := s.send(ctx, access.Purchasing, rest,
		s.report("material-received", fields{"order": "M-2", "lines": []fields{{"material": "felt", "amount": "9 rolls"}, {"material": "ice-barrier", "amount": "8 rolls"}, {"material": "panel", "amount": "3 coils"}}})); err != nil {
		return err
	}
	if err := s.send(ctx, access.Lead, s.startDay(4)); err != nil {
		return err
	}
	// The valley's own barrier is only begun.
	elsewhere := slices.DeleteFunc(slices.Clone(places), func(p spot) bool { return p.Kind == "valley" })
	for _, plane := range planes {
		reports := s.prepare(elsewhere, plane, "deck-check", "felt", "slip-sheet")
		if plane == valley.Planes[1] {
			// Bare beside the valley: the deck is open and nothing is on it.
			reports = reports[:1]
		}
		if err := s.send(ctx, access.Hand, reports...); err != nil {
			return err
		}
	}
	s.tomorrow()
	// Panels begin on a plane that the valley does not touch.
	away := planes[slices.IndexFunc(planes, func(p string) bool { return !slices.Contains(valley.Planes, p) })]
	sheets, err := s.sheets(ctx, away)
	if err != nil {
		return err
	}
	// A late report: yesterday's measure reaches the log today.
	late := s.report("measure-taken", fields{"where": valley.Planes[0], "of": "moisture", "values": []string{"14 %", "16 %"}})
	late["at"] = s.clock.Add(-20 * time.Hour).Format(time.RFC3339)
	return s.send(ctx, access.Lead, append([]fields{
		s.report("layer-laid", fields{"where": valley.Where, "step": "ice-barrier", "amount": "6'"}),
		s.report("punch-raised", fields{"where": valley.Where, "what": "Plywood edge soft below the valley, about 2 ft.", "blocks": "night"}),
		late,
	}, s.panel(sheets, len(sheets)/2)...)...)
}

// shed was just stripped, and a tarp lies over half of it.
func (s *scenario) shed(ctx context.Context) error {
	if err := s.open(ctx, "chapel-shed", "Shed roofs by the chapel", "raised-clip-vented", 0); err != nil {
		return err
	}
	s.clock = s.now.In(s.clock.Location()).Add(-90 * time.Minute)
	start := s.report("day-started", fields{"heads": 3, "shift_end": s.now.Add(6 * time.Hour).Format(time.RFC3339)})
	if err := s.send(ctx, access.Lead, start); err != nil {
		return err
	}
	return s.send(ctx, access.Lead,
		s.report("deck-opened", fields{"where": "north"}),
		s.report("deck-opened", fields{"where": "south", "amount": "120 sqft"}),
		s.report("cover-placed", fields{"where": "south"}),
		s.report("material-received", fields{"order": "M-3", "lines": []fields{{"material": "felt", "amount": "2 rolls"}, {"material": "ice-barrier", "amount": "2 rolls", "damaged": "1 roll"}}}))
}
