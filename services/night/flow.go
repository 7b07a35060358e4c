package night

import (
	"bydark/events"
	"bydark/services/roof"
)

// taking is what share of the water that comes to each place goes in there, from 0 to 1;
// a place that is not named takes none.
type taking map[events.Place]float64

// entering are the plan areas, in square metres, whose rain goes in at each place: what
// falls on a plane itself, and what runs down to a plane or an edge from above. Leaving is
// the rest, which leaves the roof: together they are the roof.
type entering struct {
	direct, runoff map[events.Place]float64
	leaving        float64
}

// lead follows the rain down the roof, plane by plane and edge by edge, and lets each place
// take its share. Water that has gone in further up does not come down.
//
// A plane takes as much of what runs over it as of what falls on it: panels run up the
// slope, so deck is opened in strips from eave to ridge.
func lead(r *roof.Roof, takes taking) entering {
	f := streams{roof: r, takes: takes}
	f.build()
	in := entering{direct: map[events.Place]float64{}, runoff: map[events.Place]float64{}}
	for i := range r.Planes {
		mark := events.Place(r.Planes[i].Mark)
		in.direct[mark] = r.Planes[i].PlanArea.SquareMetres() * takes[mark]
	}
	for i := range r.Edges {
		e := &r.Edges[i]
		comes := f.to(e.Mark)
		in.runoff[events.Place(e.Mark)] += comes * takes[events.Place(e.Mark)]
		passed := f.passed(e)
		for _, run := range e.Runs {
			over := events.Place(run.Over)
			in.runoff[over] += run.PlanArea.SquareMetres() * passed * takes[over]
		}
		in.leaving += e.Leaves.SquareMetres() * passed
	}
	delete(in.runoff, "")
	return in
}

// shed is what a plane sheds over one edge of the rain that falls on it.
type shed struct {
	plane  events.Place
	areaM2 float64
}

// inflow is water that comes to an edge from another one.
type inflow struct {
	edge *roof.Edge
	run  roof.Run
}

// streams is the water on its way; comes holds what has been reckoned already.
type streams struct {
	roof  *roof.Roof
	takes taking
	shed  map[roof.EdgeMark][]shed
	from  map[roof.EdgeMark][]inflow
	comes map[roof.EdgeMark]float64
}

// build looks up what comes to each edge.
func (f *streams) build() {
	f.shed, f.from, f.comes = map[roof.EdgeMark][]shed{}, map[roof.EdgeMark][]inflow{}, map[roof.EdgeMark]float64{}
	for i := range f.roof.Planes {
		p := &f.roof.Planes[i]
		for _, d := range p.Drains {
			f.shed[d.Edge] = append(f.shed[d.Edge], shed{events.Place(p.Mark), d.PlanArea.SquareMetres()})
		}
	}
	for i := range f.roof.Edges {
		for _, run := range f.roof.Edges[i].Runs {
			f.from[run.To] = append(f.from[run.To], inflow{&f.roof.Edges[i], run})
		}
	}
}

// to is the area whose water comes to an edge once everything above has taken its share.
func (f *streams) to(mark roof.EdgeMark) float64 {
	if known, ok := f.comes[mark]; ok {
		return known
	}
	// Sides of one edge may drain to each other by way of a third plane; then what comes
	// round once more is left out rather than reckoned for ever.
	f.comes[mark] = 0
	sum := 0.0
	for _, s := range f.shed[mark] {
		sum += s.areaM2 * (1 - f.takes[s.plane])
	}
	for _, in := range f.from[mark] {
		sum += in.run.PlanArea.SquareMetres() * f.passed(in.edge) * (1 - f.takes[events.Place(in.run.Over)])
	}
	f.comes[mark] = sum
	return sum
}

// passed is how much of an edge's whole catchment goes on past it.
func (f *streams) passed(e *roof.Edge) float64 {
	whole := e.Drains.SquareMetres()
	if whole == 0 {
		return 0
	}
	return f.to(e.Mark) / whole * (1 - f.takes[events.Place(e.Mark)])
}
