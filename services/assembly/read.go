package assembly

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
)

// MaxBytes bounds an assembly's document.
const MaxBytes = 256 << 10

// openingKinds are the kinds of openings that an assembly may say how to flash.
var openingKinds = []string{"chimney", "skylight", "dormer", "curb", "pipe"}

// edgeKinds are the kinds that an assembly must say how to close.
var edgeKinds = []string{"eave", "rake", "ridge", "hip", "valley", "wall", "break"}

// Read reads an assembly's document and checks it whole. Errors are *events.Refusal;
// Where is a JSON pointer into the document.
func Read(data []byte) (*Assembly, error) {
	if len(data) > MaxBytes {
		return nil, &events.Refusal{Code: "too-large", Was: fmt.Sprintf("%d bytes", len(data)), Want: fmt.Sprintf("an assembly of at most %d bytes", MaxBytes)}
	}
	a := new(Assembly)
	if err := json.Unmarshal(data, a, json.RejectUnknownMembers(true)); err != nil {
		return nil, unreadable(err)
	}
	c := checker{a: a, steps: map[events.StepID]string{}}
	c.all()
	if c.found != nil {
		return nil, c.found
	}
	return a, nil
}

func unreadable(err error) *events.Refusal {
	r := &events.Refusal{Code: "unreadable-assembly", Was: err.Error(), Want: "the members that the assembly schema lists, each once and spelt exactly"}
	var semantic *json.SemanticError
	var syntactic *jsontext.SyntacticError
	switch {
	case errors.As(err, &semantic):
		r.Where = string(semantic.JSONPointer)
		if semantic.Err != nil {
			r.Was = semantic.Err.Error()
		}
	case errors.As(err, &syntactic):
		r.Where = string(syntactic.JSONPointer)
		r.Was = syntactic.Err.Error()
	}
	return r
}

// checker walks an assembly and keeps the first thing that is wrong.
type checker struct {
	a     *Assembly
	steps map[events.StepID]string // where each step's id stands
	found *events.Refusal
}

func (c *checker) want(ok bool, where, was, want string) {
	if !ok && c.found == nil {
		c.found = &events.Refusal{Code: "bad-assembly", Where: where, Was: was, Want: want}
	}
}

func (c *checker) all() {
	a := c.a
	c.want(a.Name != "", "/name", "", "a name")
	c.want(a.Source != "", "/source", "", "where the facts are from")
	c.want(a.LeastPitch.Slope() > 0, "/least_pitch", a.LeastPitch.String(), "a pitch above zero")
	if a.Wind != nil {
		if wrong := a.Wind.Check(); wrong != nil {
			c.want(false, "/wind"+wrong.Where, wrong.Was, wrong.Want)
		}
	}
	c.want(a.Square >= 0, "/square_allowance", a.Square.String(), "a length not below zero")
	c.panel()
	seen := map[events.MaterialID]bool{}
	for i, m := range a.Materials {
		c.material(fmt.Sprintf("/materials/%d", i), m)
		c.want(!seen[m.ID], fmt.Sprintf("/materials/%d/id", i), string(m.ID), "a material id used once")
		seen[m.ID] = true
	}
	c.stepList("/plane", a.Plane)
	c.rules("/plane", a.Plane, []string{PerArea, PerSquare, PerPanel, PerClip, PerCut})
	panels := 0
	for _, s := range a.Plane {
		if s.Kind == Panels {
			panels++
		}
	}
	c.want(panels == 1, "/plane", fmt.Sprintf("%d steps of kind panels", panels), "exactly one step of kind panels")
	for _, kind := range edgeKinds {
		edge, ok := a.Edges[kind]
		where := "/edges/" + kind
		c.want(ok, where, "", "how an edge of this kind is closed")
		c.border(where, edge)
		c.rules(where+"/steps", edge.Steps, []string{PerStrip, PerLength, PerSpacing, PerPanel, PerJoint, PerBead, PerCorner})
		for i, s := range edge.Steps {
			c.want(s.Along == "" && s.WiderThan == 0 && s.UpToWidth == 0, fmt.Sprintf("%s/steps/%d", where, i), string(s.ID), "along, wider_than and up_to_width at openings only")
		}
	}
	for kind := range a.Edges {
		c.want(slices.Contains(edgeKinds, kind), "/edges/"+kind, kind, "one of eave, rake, ridge, hip, valley, wall, break")
	}
	for _, kind := range slices.Sorted(maps.Keys(a.Openings)) {
		c.opening("/openings/"+kind, kind, a.Openings[kind])
	}
	c.references()
	for i, check := range a.Roof {
		c.check(fmt.Sprintf("/roof_checks/%d", i), check)
	}
}

// border checks what edges and openings have alike.
func (c *checker) border(where string, e Edge) {
	c.want(e.Opening >= 0, where+"/opening", e.Opening.String(), "a length not below zero")
	c.want(len(e.Steps) > 0, where+"/steps", "", "at least one step")
	c.stepList(where+"/steps", e.Steps)
	if n := len(e.Steps); n > 0 {
		c.want(e.Steps[n-1].Becomes == WeatherTight, where+"/steps", e.Steps[n-1].Becomes, "a last step that becomes weather-tight")
	}
}

// rules refuses uses whose rule means nothing at a place: they would be in no estimate.
func (c *checker) rules(where string, steps []Step, rules []string) {
	for i, s := range steps {
		for j, u := range s.Uses {
			c.want(slices.Contains(rules, u.Per), fmt.Sprintf("%s/%d/uses/%d/per", where, i, j), u.Per, "at this place one of "+strings.Join(rules, ", "))
		}
	}
}

func (c *checker) opening(where, kind string, e Edge) {
	c.want(slices.Contains(openingKinds, kind), where, kind, "one of chimney, skylight, dormer, curb, pipe")
	c.border(where, e)
	rules := []string{PerStrip, PerLength, PerSpacing, PerJoint, PerBead, PerOpening}
	if kind != "pipe" {
		rules = append(rules, PerPanel, PerCorner, PerCricket)
	}
	c.rules(where+"/steps", e.Steps, rules)
	for i, s := range e.Steps {
		at := fmt.Sprintf("%s/steps/%d", where, i)
		c.want(slices.Contains([]string{"", Round, Apron, Sides, Head}, s.Along), at+"/along", s.Along, "round, apron, sides or head")
		c.want(kind != "pipe" || s.Along == "" || s.Along == Round, at+"/along", s.Along, "round, since a pipe has no sides")
		c.want(s.WiderThan >= 0 && s.UpToWidth >= 0, at+"/wider_than", s.WiderThan.String(), "widths not below zero")
		// Without an end that is always due, an opening could be closed by nothing.
		c.want(i < len(e.Steps)-1 || s.WiderThan == 0 && s.UpToWidth == 0, at, string(s.ID), "a last step for openings of any width")
	}
}

func (c *checker) panel() {
	p := c.a.Panel
	m, ok := c.a.Material(p.Material)
	c.want(ok, "/panel/material", string(p.Material), "the id of one of the materials")
	c.want(!ok || m.Unit != UnitEach && m.Unit != UnitArea, "/panel/material", string(p.Material), "a material reckoned in mm, since panels are cut by length")
	c.want(slices.Contains([]string{"steel", "stainless", "aluminum", "copper", "zinc"}, p.Metal), "/panel/metal", p.Metal, "steel, stainless, aluminum, copper or zinc")
	c.want(p.Thickness > 0, "/panel/thickness", p.Thickness.String(), "a thickness above zero")
	c.want(p.Cover >= 4*quantity.Inch && p.Cover <= 4*quantity.Foot, "/panel/cover", p.Cover.String(), `a width from seam to seam of 4" to 4'`)
	c.want(p.LeastCover >= 0 && p.LeastCover <= p.Cover, "/panel/least_cover", p.LeastCover.String(), "a width from zero to the cover width")
	c.want(p.Coil >= p.Cover, "/panel/coil_width", p.Coil.String(), "a flat width not below the cover width")
	c.want(p.Seam > 0, "/panel/seam_height", p.Seam.String(), "a height above zero")
	c.want(p.ClipAllowableN >= 0 && p.ClipAllowableN <= 100_000, "/panel/clip_allowable_n", fmt.Sprint(p.ClipAllowableN), "newtons from 0 to 100000")
	c.want((p.ClipAllowableN > 0) == (p.ClipAllowableSource != ""), "/panel/clip_allowable_source", p.ClipAllowableSource, "the test report behind clip_allowable_n, and none without it")
	for kind, l := range p.Ends {
		c.want(slices.Contains(edgeKinds, kind), "/panel/ends/"+kind, kind, "a kind of edge")
		c.want(l.Abs() <= quantity.Foot, "/panel/ends/"+kind, l.String(), "a foot at most")
	}
}

func (c *checker) material(where string, m Material) {
	c.want(m.ID != "", where+"/id", "", "an id")
	c.want(m.Name != "", where+"/name", "", "a name")
	c.want(m.Source != "", where+"/source", "", "where this is from, such as common practice")
	c.want(slices.Contains([]string{UnitEach, UnitLength, UnitArea}, m.Unit), where+"/unit", m.Unit, "each, mm or m2")
	c.want(m.LeadDays >= 0 && m.LeadDays <= 400, where+"/lead_days", fmt.Sprint(m.LeadDays), "days from 0 to 400")
	c.want(m.Width >= 0, where+"/width", m.Width.String(), "a width not below zero")
	if m.Pack != (Pack{}) {
		c.want(m.Pack.Noun != "", where+"/pack/noun", "", "the pack's name in the singular")
		c.want(m.Pack.Holds.Kind() == m.Kind() && m.Pack.Holds.Sign() > 0, where+"/pack/holds", m.Pack.Holds.String(), "an amount above zero in the material's own unit")
		c.want(m.Unit != UnitEach || m.Pack.Holds.Noun() == quantity.Each, where+"/pack/holds", m.Pack.Holds.String(), `pieces such as "250 each"`)
	}
}

func (c *checker) stepList(where string, steps []Step) {
	for i, s := range steps {
		at := fmt.Sprintf("%s/%d", where, i)
		c.want(s.ID != "", at+"/id", "", "an id")
		// The same id may stand for the same work at edges of several kinds.
		for _, before := range steps[:i] {
			c.want(before.ID != s.ID, at+"/id", string(s.ID), "an id used once at this kind of place")
		}
		c.steps[s.ID] = at
		c.want(s.Does != "", at+"/does", "", "what is done, in a sentence")
		c.want(slices.Contains([]string{Layer, Panels, Trim, Seal}, s.Kind), at+"/kind", s.Kind, "layer, panels, trim or seal")
		c.want(slices.Contains([]string{"", Open, DriedIn, WeatherTight}, s.Becomes), at+"/becomes", s.Becomes, "open, dried-in or weather-tight")
		c.want(s.Rate.Minutes > 0 && s.Rate.For.Sign() > 0, at+"/rate", s.Rate.For.String(), "minutes and an amount above zero")
		c.want(s.Rate.Source != "", at+"/rate/source", "", "where the rate is from")
		c.want(s.Heads >= 0 && s.Heads <= 20, at+"/heads", fmt.Sprint(s.Heads), "0 to 20 people")
		for j, u := range s.Uses {
			c.use(fmt.Sprintf("%s/uses/%d", at, j), u)
		}
		for j, check := range s.Checks {
			c.check(fmt.Sprintf("%s/checks/%d", at, j), check)
		}
	}
}

func (c *checker) use(where string, u Use) {
	m, ok := c.a.Material(u.Material)
	c.want(ok, where+"/material", string(u.Material), "the id of one of the materials")
	c.want(u.Source != "", where+"/source", "", "where this is from, such as common practice")
	c.want(u.Count >= 0 && u.Count <= 1000, where+"/count", fmt.Sprint(u.Count), "0 to 1000")
	for _, l := range []quantity.Length{u.Width, u.SideLap, u.EndLap, u.Spacing, u.EndReturn} {
		c.want(l >= 0, where, l.String(), "lengths not below zero")
	}
	unit, known := map[string]string{
		PerArea: UnitArea, PerStrip: UnitArea, PerLength: UnitLength, PerSpacing: UnitEach, PerSquare: UnitEach,
		PerPanel: UnitEach, PerJoint: UnitEach, PerBead: UnitLength, PerClip: UnitEach, PerCut: UnitLength,
		PerOpening: UnitEach, PerCorner: UnitEach, PerCricket: UnitArea,
	}[u.Per]
	c.want(known, where+"/per", u.Per, "area, strip, length, spacing, square, panel, joint, bead, clip, opening, corner, cricket or cut")
	if !ok || !known {
		return
	}
	c.want(m.Unit == unit, where+"/per", u.Per, "a material reckoned in "+unit)
	switch u.Per {
	case PerArea:
		c.want(m.Width > u.SideLap, where+"/side_lap", u.SideLap.String(), "less than the material's width")
	case PerStrip, PerCricket:
		c.want(u.Width > 0, where+"/width", u.Width.String(), "the strip's width")
	case PerLength:
		c.want(m.Pack.Holds.Length() > u.EndLap, where+"/end_lap", u.EndLap.String(), "less than the stock length that the material's pack holds")
	case PerSpacing:
		c.want(u.Spacing > 0, where+"/spacing", u.Spacing.String(), "a spacing above zero")
	case PerJoint:
		_, ok := c.a.Material(u.Of)
		c.want(ok, where+"/of", string(u.Of), "the material whose joints are counted")
	case PerClip:
		k := u.Clips
		c.want(k != nil && k.Rake > 0 && k.Field > 0 && k.FromEave >= 0 && k.FromRidge >= 0 && k.FirstPanels >= 0 && k.Screws >= 0,
			where+"/clips", "", "rake and field spacing above zero, the rest not below")
	}
}

func (c *checker) check(where string, check Check) {
	c.want(check.ID != "" && check.What != "" && check.Source != "", where, check.ID, "an id, what must hold, and its source")
	c.want(slices.Contains([]string{events.BlocksNight, events.BlocksCloseout, events.BlocksNothing}, check.Blocks), where+"/blocks", check.Blocks, "night, closeout or nothing")
	c.want(check.Of == "" || slices.Contains(events.Measures(), check.Of), where+"/of", check.Of, "one of "+fmt.Sprint(events.Measures()))
	if check.Least != nil && check.Most != nil {
		c.want(*check.Least <= *check.Most, where+"/least", check.Least.String(), "no more than most")
	}
}

// references checks that steps named by other steps exist where they are looked for.
func (c *checker) references() {
	has := func(steps []Step, id events.StepID) bool {
		return slices.ContainsFunc(steps, func(s Step) bool { return s.ID == id })
	}
	for kind, edge := range c.a.Openings {
		for i, s := range edge.Steps {
			for _, id := range s.AfterPlane {
				c.want(has(c.a.Plane, id), fmt.Sprintf("/openings/%s/steps/%d/after_plane", kind, i), string(id), "the id of a plane's step")
			}
		}
	}
	for kind, edge := range c.a.Edges {
		for i, s := range edge.Steps {
			for _, id := range s.AfterPlane {
				c.want(has(c.a.Plane, id), fmt.Sprintf("/edges/%s/steps/%d/after_plane", kind, i), string(id), "the id of a plane's step")
			}
		}
	}
	for i, s := range c.a.Plane {
		for kind, ids := range s.AfterEdge {
			for _, id := range ids {
				c.want(has(c.a.Edges[kind].Steps, id) || has(c.a.Openings[kind].Steps, id), fmt.Sprintf("/plane/%d/after_edge/%s", i, kind), string(id), "the id of a step at that kind of edge or opening")
			}
		}
	}
}
