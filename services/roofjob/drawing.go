package roofjob

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"

	"bydark/events"
	"bydark/services/assembly"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

// drawing is a roof, how it is built, and what follows from the two: read once, never
// changed, shared between states.
type drawing struct {
	roof     *roof.Roof
	assembly *assembly.Assembly
	estimate *takeoff.Estimate
	// order lists the places: planes as drawn, then edges, then openings and pipes that are
	// to be flashed.
	order []events.Place
	kinds map[events.Place]string
	// planes are the planes at each edge or opening; edges the edges and openings at each
	// plane.
	planes map[events.Place][]events.Place
	edges  map[events.Place][]events.Place
	pieces map[events.PieceMark]takeoff.Panel
}

// drawings reads documents and keeps what it read, by their digests.
type drawings struct {
	known map[[2][sha256.Size]byte]*drawing
	// tapes are drawings re-solved by measures; surveyors re-solve the drawing at hand.
	tapes     map[tapeKey]taped
	surveyors map[*drawing]*takeoff.Surveyor
}

// of reads a roof file and an assembly's document. Errors are refusals of whoever
// wrote them.
func (d *drawings) of(roofDoc, assemblyDoc []byte) (*drawing, error) {
	key := [2][sha256.Size]byte{sha256.Sum256(roofDoc), sha256.Sum256(assemblyDoc)}
	if known, ok := d.known[key]; ok {
		return known, nil
	}
	read, err := readDrawing(roofDoc, assemblyDoc)
	if err != nil {
		return nil, err
	}
	if d.known == nil {
		d.known = map[[2][sha256.Size]byte]*drawing{}
	}
	d.known[key] = read
	return read, nil
}

// within is a refusal of a document that stands in a member of a report: its place is a
// place in the report.
func within(member string, err error) error {
	var drawn *roof.Refusal
	if errors.As(err, &drawn) {
		return &events.Refusal{Code: drawn.Code, Where: member + ": " + drawn.Where, Was: drawn.Was, Want: drawn.Want}
	}
	r := events.RefusalIn(err)
	if r == nil {
		return fmt.Errorf("%s: %w", member, err)
	}
	placed := *r
	switch {
	case r.Where == "" || strings.HasPrefix(r.Where, "/"):
		placed.Where = member + r.Where
	default:
		placed.Where = member + ": " + r.Where
	}
	return &placed
}

// shelf holds the assemblies of all jobs: many are built alike.
var shelf assembly.Shelf

func readDrawing(roofDoc, assemblyDoc []byte) (*drawing, error) {
	r, err := roof.Read(roofDoc)
	if err != nil {
		return nil, within("/roof", err)
	}
	a, err := shelf.Read(assemblyDoc)
	if err != nil {
		return nil, within("/assembly", err)
	}
	return drawingOf(r, a)
}

func drawingOf(r *roof.Roof, a *assembly.Assembly) (*drawing, error) {
	e, err := takeoff.Of(r, a)
	if err != nil {
		return nil, within("/roof", err)
	}
	w := &drawing{
		roof: r, assembly: a, estimate: e,
		kinds:  map[events.Place]string{},
		planes: map[events.Place][]events.Place{},
		edges:  map[events.Place][]events.Place{},
		pieces: map[events.PieceMark]takeoff.Panel{},
	}
	for _, p := range r.Planes {
		mark := events.Place(p.Mark)
		w.order = append(w.order, mark)
		w.kinds[mark] = assembly.PlaneKind
		w.planes[mark] = []events.Place{mark}
	}
	for _, edge := range r.Edges {
		mark := events.Place(edge.Mark)
		if _, taken := w.kinds[mark]; taken {
			return nil, &events.Refusal{Code: "mark-taken", Where: string(mark), Was: "a plane", Want: "plane marks that no edge has, such as A or north"}
		}
		w.order = append(w.order, mark)
		w.kinds[mark] = string(edge.Kind)
		for _, plane := range edge.Planes {
			w.planes[mark] = append(w.planes[mark], events.Place(plane))
			w.edges[events.Place(plane)] = append(w.edges[events.Place(plane)], mark)
		}
	}
	for i := range e.Openings {
		o := &e.Openings[i]
		if len(e.StepsAt(o.Mark)) == 0 {
			continue // the assembly says nothing of it, or edges have all of its border
		}
		w.order = append(w.order, o.Mark)
		w.kinds[o.Mark] = o.Kind
		w.planes[o.Mark] = []events.Place{o.Plane}
		w.edges[o.Plane] = append(w.edges[o.Plane], o.Mark)
	}
	for _, p := range e.Planes {
		for _, panel := range p.Panels {
			w.pieces[panel.Mark] = panel
		}
	}
	return w, nil
}

func (w *drawing) isPlane(place events.Place) bool { return w.kinds[place] == assembly.PlaneKind }

// steps are the steps at a place in order.
func (w *drawing) steps(place events.Place) []assembly.Step {
	if steps := w.estimate.StepsAt(place); steps != nil {
		return steps
	}
	return w.assembly.Steps(w.kinds[place])
}

// step finds a step at a place and its turn.
func (w *drawing) step(place events.Place, id events.StepID) (assembly.Step, int, bool) {
	for i, s := range w.steps(place) {
		if s.ID == id {
			return s, i, true
		}
	}
	return assembly.Step{}, 0, false
}

// panels is the step by which panels are set.
func (w *drawing) panels() assembly.Step {
	for _, s := range w.assembly.Plane {
		if s.Kind == assembly.Panels {
			return s
		}
	}
	panic("roofjob: an assembly without panels was read")
}
