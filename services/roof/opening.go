package roof

import (
	"fmt"
	"slices"

	"bydark/events/quantity"
)

// OpeningKind is what stands in an opening, which decides the steps that flash it.
type OpeningKind string

// The kinds of openings. Curb is any box that stands out of the roof, and what an opening
// is that the roof file gives no kind.
const (
	Chimney  OpeningKind = "chimney"
	Skylight OpeningKind = "skylight"
	Dormer   OpeningKind = "dormer"
	Curb     OpeningKind = "curb"
	// PipeKind is what a pipe is at its place; no opening is of this kind.
	PipeKind OpeningKind = "pipe"
)

var openingKinds = []OpeningKind{Chimney, Skylight, Dormer, Curb}

// Opening is a hole in a plane: a chimney, a skylight, or where a dormer stands.
type Opening struct {
	// Mark is the plane's mark and a number in the file's order: "A/opening-1".
	Mark string
	Kind OpeningKind
	// Outline runs clockwise seen from above, in plan, not closed.
	Outline []Point
	// Perimeter is the true length round it, on the slope.
	Perimeter quantity.Length
	// PlanArea is exact; Area is the true area on the slope.
	PlanArea, Area quantity.Area
}

// Pipe goes through a plane, upright. It takes nothing off the plane's area.
type Pipe struct {
	// Mark is the plane's mark and a number in the file's order: "A/pipe-1".
	Mark     string
	At       Point
	Diameter quantity.Length
}

// WidestPipe is the widest pipe that is read; what is wider is an opening.
const WidestPipe = 24 * quantity.Inch

type pipeDocument struct {
	At       []string `json:"at"`
	Diameter string   `json:"diameter"`
}

func readOpeningKinds(at string, said []string, openings int) ([]OpeningKind, error) {
	kinds := slices.Repeat([]OpeningKind{Curb}, openings)
	if len(said) > 0 && len(said) != openings {
		return nil, &Refusal{Code: "bad-opening-kinds", Where: at + ", opening_kinds", Was: fmt.Sprintf("%d kinds", len(said)), Want: fmt.Sprintf("one for each of the %d openings, or none", openings)}
	}
	for i, s := range said {
		kinds[i] = OpeningKind(s)
		if !slices.Contains(openingKinds, kinds[i]) {
			return nil, &Refusal{Code: "bad-opening-kinds", Where: fmt.Sprintf("%s, opening_kinds, %d", at, i+1), Was: clip(s), Want: fmt.Sprintf("one of %v", openingKinds)}
		}
	}
	return kinds, nil
}

// readPipes reads the pipes of a plane whose rings are read: each stands whole on it.
func readPipes(p *Plane, doc []pipeDocument) error {
	for i, d := range doc {
		at := fmt.Sprintf("plane %s, pipe %d", p.Mark, i+1)
		pipe := Pipe{Mark: fmt.Sprintf("%s/pipe-%d", p.Mark, i+1)}
		var err error
		if pipe.At, err = readPoint(at, d.At); err != nil {
			return err
		}
		if pipe.Diameter, err = readLength(at+", diameter", d.Diameter); err != nil {
			return err
		}
		if pipe.Diameter <= 0 || pipe.Diameter > WidestPipe {
			return &Refusal{Code: "bad-pipe", Where: at + ", diameter", Was: pipe.Diameter.String(), Want: fmt.Sprintf("above zero, up to %s; what is wider is an opening", WidestPipe)}
		}
		if !p.holds(pipe) {
			return &Refusal{Code: "pipe-outside", Where: at, Was: fmt.Sprintf("(%s, %s)", pipe.At.X, pipe.At.Y), Want: "a place inside the plane's outline and outside its openings, the whole pipe on it"}
		}
		p.Pipes = append(p.Pipes, pipe)
	}
	return nil
}

// holds tells whether a pipe stands on the plane, clear of its borders.
func (p *Plane) holds(pipe Pipe) bool {
	rings := [][]Point{p.Outline}
	for i := range p.Openings {
		rings = append(rings, p.Openings[i].Outline)
	}
	for _, ring := range rings {
		for i, a := range ring {
			if off, _ := distance(pipe.At, a, ring[(i+1)%len(ring)]); off < float64(pipe.Diameter)/2 {
				return false
			}
		}
	}
	return inside(Point{2 * pipe.At.X, 2 * pipe.At.Y}, rings)
}

func (p *Plane) pipeDocuments() []pipeDocument {
	var docs []pipeDocument
	for _, pipe := range p.Pipes {
		docs = append(docs, pipeDocument{pair(pipe.At), pipe.Diameter.String()})
	}
	return docs
}

// kindWords are the kinds as a roof file says them; nil where all are curbs.
func (p *Plane) kindWords() []string {
	var words []string
	said := false
	for i := range p.Openings {
		words = append(words, string(p.Openings[i].Kind))
		said = said || p.Openings[i].Kind != Curb
	}
	if !said {
		return nil
	}
	return words
}
