package takeoff

import (
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"math"
	"slices"

	"bydark/events/quantity"
	"bydark/services/roof"
)

// roofFile is what of a roof file a measure changes; all else goes through as it is.
type roofFile struct {
	Planes []planeFile    `json:"planes"`
	Edges  []edgeFile     `json:"edges,omitempty"`
	Rest   jsontext.Value `json:",embed"`
}

type planeFile struct {
	Mark       string                 `json:"mark"`
	Outline    [][2]quantity.Length   `json:"outline"`
	Pitch      string                 `json:"pitch"`
	EaveHeight string                 `json:"eave_height,omitempty"`
	Openings   [][][2]quantity.Length `json:"openings,omitempty"`
	Pipes      []pipeFile             `json:"pipes,omitempty"`
	Rest       jsontext.Value         `json:",embed"`
}

type pipeFile struct {
	At   [2]quantity.Length `json:"at"`
	Rest jsontext.Value     `json:",embed"`
}

type edgeFile struct {
	From *[2]quantity.Length `json:"from,omitempty"`
	To   *[2]quantity.Length `json:"to,omitempty"`
	Rest jsontext.Value      `json:",embed"`
}

// redrawn writes the roof, changes planes and moves points, and reads it again. Edges keep
// their marks, although the roof would number them anew from south to north.
func redrawn(r *roof.Roof, change func(int, *planeFile), move func(roof.Point) roof.Point) (*roof.Roof, error) {
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
	for i := range doc.Planes {
		p := &doc.Planes[i]
		change(i, p)
		for k := range p.Outline {
			at(&p.Outline[k])
		}
		for _, o := range p.Openings {
			for k := range o {
				at(&o[k])
			}
		}
		for k := range p.Pipes {
			at(&p.Pipes[k].At)
		}
	}
	for i := range doc.Edges {
		at(doc.Edges[i].From)
		at(doc.Edges[i].To)
	}
	if data, err = json.Marshal(doc); err != nil {
		return nil, fmt.Errorf("roof file as measured: %w", err)
	}
	now, err := roof.Read(data)
	if err != nil {
		return nil, err
	}
	return now, keepMarks(r, now, move)
}

// errOtherEdges says that planes meet otherwise than they are drawn.
var errOtherEdges = errors.New("the planes would no longer meet as they are drawn")

// keepMarks gives each edge of a roof just read the mark it had: that of the edge of the
// same kind, between the same planes, that was nearest. The roof is nobody else's yet.
func keepMarks(was, now *roof.Roof, move func(roof.Point) roof.Point) error {
	if len(was.Edges) != len(now.Edges) {
		return errOtherEdges
	}
	marks := map[roof.EdgeMark]roof.EdgeMark{}
	taken := make([]bool, len(now.Edges))
	for i := range was.Edges {
		e := &was.Edges[i]
		from, to := e.From, e.To
		if move != nil {
			from, to = move(from), move(to)
		}
		best, away := -1, math.Inf(1)
		for k := range now.Edges {
			n := &now.Edges[k]
			if taken[k] || n.Kind != e.Kind || !samePlanes(n.Planes, e.Planes) {
				continue
			}
			if d := min(length(n.From, from)+length(n.To, to), length(n.To, from)+length(n.From, to)); d < away {
				best, away = k, d
			}
		}
		if best < 0 {
			return errOtherEdges
		}
		taken[best] = true
		marks[now.Edges[best].Mark] = e.Mark
	}
	for k := range now.Edges {
		e := &now.Edges[k]
		e.Mark = marks[e.Mark]
		for i := range e.Runs {
			e.Runs[i].To = marks[e.Runs[i].To]
		}
	}
	for i := range now.Planes {
		for k := range now.Planes[i].Drains {
			d := &now.Planes[i].Drains[k]
			d.Edge = marks[d.Edge]
		}
	}
	return nil
}

func samePlanes(a, b []roof.PlaneMark) bool {
	return len(a) == len(b) && !slices.ContainsFunc(a, func(m roof.PlaneMark) bool { return !slices.Contains(b, m) })
}
