package roof

import (
	"encoding/json/jsontext"
	json "encoding/json/v2"
	"errors"
	"fmt"
	"slices"

	"bydark/events/quantity"
)

// Limits of a roof file, which bound time and memory whatever comes in.
const (
	MaxBytes       = 4 << 20
	MaxPlanes      = 1_000
	MaxPoints      = 10_000 // of all planes together
	MaxPlanePoints = 2_000  // of one plane, its openings with it
	MaxOverrules   = 2_000
	MaxPipes       = 1_000
)

type document struct {
	Name   string             `json:"name"`
	Planes []planeDocument    `json:"planes"`
	Edges  []overruleDocument `json:"edges,omitempty"`
}

type planeDocument struct {
	Mark       string       `json:"mark"`
	Outline    [][]string   `json:"outline"`
	Pitch      string       `json:"pitch"`
	FallsDeg   *float64     `json:"falls_deg"`
	EaveHeight string       `json:"eave_height,omitempty"`
	Openings   [][][]string `json:"openings,omitempty"`
	// Kinds says, in the order of openings, what stands in each.
	Kinds []string       `json:"opening_kinds,omitempty"`
	Pipes []pipeDocument `json:"pipes,omitempty"`
}

type overruleDocument struct {
	Between []string `json:"between"`
	From    []string `json:"from,omitempty"`
	To      []string `json:"to,omitempty"`
	Kind    string   `json:"kind"`
}

// Read reads a roof file and works out all that follows from it. A plane without an
// eave height hangs on its neighbours where they meet, and where there are none, or
// none with a height, the lowest eave is at zero.
//
// It refuses with a *Refusal that names plane and point what is no roof: JSON with
// members that are doubled, unknown or written in another case, text after it or bytes
// that are no UTF-8; a mark that is missing, doubled or reserved; a length without a
// unit; a pitch of zero or steeper than 24/12; an outline that is open, crosses
// itself, or comes nearer to itself than Clearance; planes that lie over each other;
// an opening or a pipe outside its plane; an edge that is not there; and anything beyond the
// limits above.
func Read(data []byte) (*Roof, error) {
	if len(data) > MaxBytes {
		return nil, &Refusal{Code: "too-large", Where: "roof file", Was: fmt.Sprintf("%d bytes", len(data)), Want: fmt.Sprintf("%d bytes at most", MaxBytes)}
	}
	var doc document
	if err := json.Unmarshal(data, &doc, json.RejectUnknownMembers(true)); err != nil {
		return nil, refuseJSON(err)
	}
	return build(&doc)
}

// build makes the roof that a document tells of.
func build(doc *document) (*Roof, error) {
	if err := checkSize(doc); err != nil {
		return nil, err
	}
	r := &Roof{Name: doc.Name}
	known := make([]bool, len(doc.Planes))
	for i := range doc.Planes {
		p, err := readPlane(&doc.Planes[i], i)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(r.Planes, func(q Plane) bool { return q.Mark == p.Mark }) {
			return nil, &Refusal{Code: "doubled-mark", Where: fmt.Sprintf("planes[%d].mark", i), Was: string(p.Mark), Want: "a mark of its own for each plane"}
		}
		known[i] = doc.Planes[i].EaveHeight != ""
		r.Planes = append(r.Planes, p)
	}
	for i := range doc.Edges {
		o, err := readOverrule(r, &doc.Edges[i], i)
		if err != nil {
			return nil, err
		}
		r.overrules = append(r.overrules, o)
	}
	if err := r.solve(known); err != nil {
		return nil, err
	}
	return r, nil
}

// solve finds the edges, their kinds and the way of the water.
func (r *Roof) solve(known []bool) error {
	var extra []Point
	for _, o := range r.overrules {
		if !o.whole {
			extra = append(extra, o.from, o.to)
		}
	}
	m := newMesh(r.Planes, extra, float64(Touch))
	if err := m.overlap(); err != nil {
		return err
	}
	m.hang(known)
	m.settleHeights()
	for s := range m.sides {
		m.sides[s].kind = m.name(s)
	}
	for i, o := range r.overrules {
		if !m.overrule(o) {
			return &Refusal{Code: "no-such-edge", Where: fmt.Sprintf("edges[%d]", i), Was: o.String(), Want: "an edge between these planes, from and to on it"}
		}
	}
	seams := m.seams()
	m.number(seams)
	m.drain(seams)
	for i := range seams {
		r.Edges = append(r.Edges, seams[i].edge)
	}
	return nil
}

// refuseJSON turns the decoder's words into a refusal with the place in the document.
func refuseJSON(err error) error {
	r := &Refusal{Code: "not-a-roof-file", Where: "roof file", Was: err.Error(), Want: "a roof file in JSON, each member known, in lower case and once"}
	if syntactic, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		r.Where, r.Was = where(string(syntactic.JSONPointer)), fmt.Sprintf("%v at byte %d", syntactic.Err, syntactic.ByteOffset)
	} else if semantic, ok := errors.AsType[*json.SemanticError](err); ok {
		r.Where, r.Was = where(string(semantic.JSONPointer)), clip(string(semantic.JSONValue))
		if semantic.Err != nil {
			r.Was = semantic.Err.Error()
		}
		if semantic.GoType != nil && r.Was == "" {
			r.Was = semantic.JSONKind.String()
		}
	}
	return r
}

func where(pointer string) string {
	if pointer == "" {
		return "roof file"
	}
	return "roof file " + clip(pointer)
}

func checkSize(doc *document) error {
	switch {
	case len(doc.Planes) == 0:
		return &Refusal{Code: "no-planes", Where: "planes", Want: "one plane or more"}
	case len(doc.Planes) > MaxPlanes:
		return &Refusal{Code: "too-large", Where: "planes", Was: fmt.Sprintf("%d planes", len(doc.Planes)), Want: fmt.Sprintf("%d at most", MaxPlanes)}
	case len(doc.Edges) > MaxOverrules:
		return &Refusal{Code: "too-large", Where: "edges", Was: fmt.Sprintf("%d edges", len(doc.Edges)), Want: fmt.Sprintf("%d at most", MaxOverrules)}
	case len(doc.Name) > 200:
		return &Refusal{Code: "too-large", Where: "name", Was: clip(doc.Name), Want: "200 bytes at most"}
	}
	all, pipes := 0, 0
	for i := range doc.Planes {
		points := len(doc.Planes[i].Outline)
		for _, o := range doc.Planes[i].Openings {
			points += len(o)
		}
		if points > MaxPlanePoints {
			return &Refusal{Code: "too-large", Where: fmt.Sprintf("plane %s", clip(doc.Planes[i].Mark)), Was: fmt.Sprintf("%d points", points),
				Want: fmt.Sprintf("%d at most, its openings with it", MaxPlanePoints)}
		}
		if pipes += len(doc.Planes[i].Pipes); pipes > MaxPipes {
			return &Refusal{Code: "too-large", Where: fmt.Sprintf("plane %s", clip(doc.Planes[i].Mark)), Was: fmt.Sprintf("%d pipes up to here", pipes),
				Want: fmt.Sprintf("%d at most in all", MaxPipes)}
		}
		if all += points; all > MaxPoints {
			return &Refusal{Code: "too-large", Where: fmt.Sprintf("plane %s", clip(doc.Planes[i].Mark)), Was: fmt.Sprintf("%d points up to here", all),
				Want: fmt.Sprintf("%d at most in all", MaxPoints)}
		}
	}
	return nil
}

// length prints nanometres that are no exact measure, to a hundredth of a millimetre.
func length(nm float64) string {
	return (quantity.Length(nm) / 10_000 * 10_000).Metric()
}
