package takeoff

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"fmt"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// roofFile is what of a roof file a measure changes; all else goes through as it is.
type roofFile struct {
	Planes []planeFile    `json:"planes"`
	Edges  []edgeFile     `json:"edges,omitempty"`
	Rest   jsontext.Value `json:",unknown"`
}

type planeFile struct {
	Mark       string                 `json:"mark"`
	Outline    [][2]quantity.Length   `json:"outline"`
	Pitch      string                 `json:"pitch"`
	EaveHeight string                 `json:"eave_height,omitempty"`
	Openings   [][][2]quantity.Length `json:"openings,omitempty"`
	Rest       jsontext.Value         `json:",unknown"`
}

type edgeFile struct {
	From *[2]quantity.Length `json:"from,omitempty"`
	To   *[2]quantity.Length `json:"to,omitempty"`
	Rest jsontext.Value      `json:",unknown"`
}

// rebuilt is the roof with every point moved.
func rebuilt(r *roof.Roof, move func(roof.Point) roof.Point) (*roof.Roof, error) {
	return redrawn(r, nil, move)
}

// redrawn writes the roof, changes planes and moves points, and reads it again. Of the
// planes that hang together only the one with the lowest eave keeps its height, so that
// the others find theirs anew.
func redrawn(r *roof.Roof, change func(*planeFile), move func(roof.Point) roof.Point) (*roof.Roof, error) {
	data, err := roof.Write(r)
	if err != nil {
		return nil, err
	}
	var doc roofFile
	if err := json.Unmarshal(data, &doc); err != nil {
		return nil, fmt.Errorf("roof file as written: %w", err)
	}
	at := func(p *[2]quantity.Length) {
		if move != nil && p != nil {
			q := move(roof.Point{X: p[0], Y: p[1]})
			*p = [2]quantity.Length{q.X, q.Y}
		}
	}
	keep := anchors(r)
	for i := range doc.Planes {
		p := &doc.Planes[i]
		if change != nil {
			change(p)
		}
		if !keep[roof.PlaneMark(p.Mark)] {
			p.EaveHeight = ""
		}
		for k := range p.Outline {
			at(&p.Outline[k])
		}
		for _, o := range p.Openings {
			for k := range o {
				at(&o[k])
			}
		}
	}
	for i := range doc.Edges {
		at(doc.Edges[i].From)
		at(doc.Edges[i].To)
	}
	if data, err = json.Marshal(doc); err != nil {
		return nil, fmt.Errorf("roof file as measured: %w", err)
	}
	return roof.Read(data)
}

// anchors are, of the planes that meet, the ones with the lowest eave.
func anchors(r *roof.Roof) map[roof.PlaneMark]bool {
	group := map[roof.PlaneMark]roof.PlaneMark{}
	root := func(m roof.PlaneMark) roof.PlaneMark {
		for group[m] != m {
			m = group[m]
		}
		return m
	}
	for i := range r.Planes {
		group[r.Planes[i].Mark] = r.Planes[i].Mark
	}
	for i := range r.Edges {
		if planes := r.Edges[i].Planes; len(planes) == 2 {
			group[root(planes[0])] = root(planes[1])
		}
	}
	lowest := map[roof.PlaneMark]*roof.Plane{}
	for i := range r.Planes {
		p := &r.Planes[i]
		if at := root(p.Mark); lowest[at] == nil || p.EaveHeight < lowest[at].EaveHeight {
			lowest[at] = p
		}
	}
	keep := map[roof.PlaneMark]bool{}
	for _, p := range lowest {
		keep[p.Mark] = true
	}
	return keep
}
