package facade

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strings"

	"bydark/events"
	"bydark/projections/board"
	"bydark/projections/record"
	"bydark/services/access"
	"bydark/services/assembly"
	"bydark/services/roofjob"
)

// choice is one of a field's choices.
type choice struct{ Value, Label string }

// offered is what a form can offer on a roof.
type offered struct {
	// form is the report's type.
	form  string
	state *roofjob.State
	who   access.Person
	names map[events.PersonID]string
	roofs []board.Row
	// teller says what the reports said.
	teller *record.Teller
	// all asks for what is folded away too: what is done already.
	all bool
	// where is the place that was chosen; empty before.
	where events.Place
	// values are those of the form: what stands in it is offered whatever it is.
	values map[string][]string
}

// stepKinds are the kinds of steps that a report is about.
var stepKinds = map[string]string{"layer-laid": assembly.Layer, "trim-installed": assembly.Trim, "seal-made": assembly.Seal}

// stepReport is the report that tells of a step of a kind.
var stepReport = map[string]string{assembly.Layer: "layer-laid", assembly.Trim: "trim-installed", assembly.Seal: "seal-made", assembly.Panels: "panel-set"}

// choices are what a field offers on this roof, and how many are folded away.
func (o offered) choices(in field) (all []choice, folded int) {
	add := func(value, label string, done bool) {
		if done && !o.all && !slices.Contains(o.values[in.Name+in.In], value) {
			folded++
			return
		}
		if c := (choice{value, label}); !slices.Contains(all, c) {
			all = append(all, c)
		}
	}
	for _, w := range in.Words {
		add(w, w, false)
	}
	if in.From == "roof" {
		add(string(events.WholeRoof), "the whole roof", false)
	}
	switch in.From {
	case "places", "roof", "planes", "edges":
		for _, p := range o.state.Places() {
			if plane := p.Kind == assembly.PlaneKind; in.From == "planes" && !plane || in.From == "edges" && plane {
				continue
			}
			add(string(p.Mark), placeWords(p), false)
		}
	case "steps":
		for _, s := range o.steps(o.where) {
			add(string(s.ID), stepWords(s), s.Complete())
		}
	case "uncut", "unset":
		for _, p := range o.state.Estimate().Planes {
			for _, panel := range p.Panels {
				cut, set := o.state.PanelState(panel.Mark)
				label := fmt.Sprintf("%s, %s", panel.Mark, panel.Length)
				switch {
				case !set.IsZero():
					label += ", set"
				case !cut.IsZero():
					label += ", cut"
				}
				add(string(panel.Mark), label, !set.IsZero() || in.From == "uncut" && !cut.IsZero())
			}
		}
	case "materials":
		for _, m := range o.state.Assembly().Materials {
			add(string(m.ID), m.Name, false)
		}
	case "checks":
		for _, c := range o.state.Checks() {
			label := string(c.Where) + ", " + c.What
			if c.Photo {
				label += " (with a picture)"
			}
			add(c.ID, label, c.Done)
		}
	case "items":
		for _, i := range o.state.Items() {
			if slices.Contains(in.States, i.State) || slices.Contains(o.values[in.Name], string(i.ID)) {
				add(string(i.ID), string(i.Where)+": "+i.What+" ("+i.State+")", false)
			}
		}
	case "orders":
		for _, order := range o.state.Orders() {
			add(order.Number, order.Number, false)
		}
	case "jobs":
		for _, roof := range o.roofs {
			if roof.Job != o.state.Job {
				add(string(roof.Job), roof.Name, !roof.Closed.IsZero())
			}
		}
	case "people":
		for _, name := range o.names {
			add(name, name, false)
		}
		slices.SortFunc(all, func(a, b choice) int { return strings.Compare(a.Label, b.Label) })
	}
	return all, folded
}

func placeWords(p roofjob.Place) string {
	stands := p.State
	if p.IsOpen() {
		stands = "OPEN"
	}
	return fmt.Sprintf("%s (%s, %s)", p.Mark, p.Kind, stands)
}

func stepWords(s roofjob.Step) string {
	done := ""
	switch {
	case s.Complete():
		done = " Done already."
	case s.Done.Sign() > 0:
		done = fmt.Sprintf(" %s of %s done.", s.Done.Shown(), s.Of.Shown())
	}
	return string(s.ID) + ": " + s.Does + done
}

// steps are those of a place that the form's report is about; at a plane also the layers of its edges,
// which are reported by the plane.
func (o offered) steps(where events.Place) []roofjob.Step {
	var steps []roofjob.Step
	kind := stepKinds[o.form]
	for _, p := range o.state.Places() {
		beside := kind == assembly.Layer && p.Mark != where && p.Kind != assembly.PlaneKind && slices.Contains(p.Planes, where)
		if p.Mark != where && !beside {
			continue
		}
		for _, s := range p.Steps {
			i := slices.IndexFunc(steps, func(had roofjob.Step) bool { return had.ID == s.ID })
			switch {
			case s.Kind != kind:
			case i < 0 && beside:
				s.Does += " Along the edges of " + string(where) + "."
				steps = append(steps, s)
			case i < 0:
				steps = append(steps, s)
			case beside && steps[i].Complete():
				s.Does = steps[i].Does
				steps[i] = s // one edge still lacks it
			}
		}
	}
	return steps
}

// chooser is the page on which the first field of a form is chosen.
type chooser struct {
	Form  form
	Label string
	// Open is what is to do or comes first, Done what is done already.
	Open, Done []option
	// Earlier and Later lead to the other pages of a long list.
	Earlier, Later string
	Problem        *problem
	Blamed         string
}

// option is one of them.
type option struct{ Link, Label, Note string }

// chosen tells in words what was chosen; empty when nothing was, or nothing that is there.
func (o offered) chosen(first, value string) string {
	if value == "" {
		return ""
	}
	if first != "where" {
		e, ok := o.state.Event(events.ReportID(value))
		if !ok {
			return ""
		}
		return o.reportWords(e)
	}
	if p, ok := o.state.Place(events.Place(value)); ok {
		return placeWords(p)
	}
	return ""
}

// onePage is how many reports are listed at once.
const onePage = 15

// chooser lists what the first field can be.
func (o offered) chooser(f filled, here string, page int) chooser {
	c := chooser{Form: f.Form, Problem: f.Problem, Blamed: f.Blamed}
	for _, in := range f.Form.Fields {
		if in.Name == f.Form.First {
			c.Label = in.Label
		}
	}
	if f.Form.First == "where" {
		c.Open, c.Done = o.places(here)
		return c
	}
	all := o.reports(f.Form.Type == "report-withdrawn")
	at := func(page int) string { return fmt.Sprintf("%s?page=%d", here, page) }
	if page > 0 {
		c.Later = at(page - 1)
	}
	if len(all) > (page+1)*onePage {
		c.Earlier = at(page + 1)
	}
	for _, e := range all[min(len(all), page*onePage):min(len(all), (page+1)*onePage)] {
		by := o.names[e.By]
		if e.By == o.who.ID {
			by = "you"
		}
		c.Open = append(c.Open, option{
			Link:  here + "?" + url.Values{f.Form.First: {string(e.ID)}}.Encode(),
			Label: o.teller.Words(e), Note: local(e.At, o.state.Opened().Site.Zone) + ", by " + by,
		})
	}
	return c
}

// places are the places that have such steps, those that are open first.
func (o offered) places(here string) (open, done []option) {
	places := slices.Clone(o.state.Places())
	slices.SortStableFunc(places, func(a, b roofjob.Place) int { return cmp.Compare(last[a.IsOpen()], last[b.IsOpen()]) })
	for _, p := range places {
		var left []string
		steps := o.steps(p.Mark)
		if len(steps) == 0 {
			continue
		}
		for _, s := range steps {
			if !s.Complete() {
				left = append(left, string(s.ID))
			}
		}
		to := option{Link: here + "?" + url.Values{"where": {string(p.Mark)}}.Encode(), Label: placeWords(p), Note: strings.Join(left, ", ")}
		if len(left) == 0 {
			to.Link += "&all=1"
			done = append(done, to)
			continue
		}
		open = append(open, to)
	}
	return open, done
}

// reports are those that somebody may name, their own first, the newest first.
func (o offered) reports(withdraw bool) []events.Event {
	var own, others []events.Event
	for _, e := range slices.Backward(o.state.Events()) {
		_, opened := e.Body.(events.JobOpened)
		switch mine := e.By == o.who.ID; {
		case o.state.Withdrawn(e.ID) != "" || events.Warning(e.Body):
		case withdraw && (opened || !mine && !o.who.May(access.WithdrawAny)):
		case mine:
			own = append(own, e)
		default:
			others = append(others, e)
		}
	}
	return append(own, others...)
}

func (o offered) reportWords(e events.Event) string {
	return o.teller.Words(e) + " (" + local(e.At, o.state.Opened().Site.Zone) + ", by " + o.names[e.By] + ")"
}
