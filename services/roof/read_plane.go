package roof

import (
	"errors"
	"fmt"
	"strings"

	"bydark/events/quantity"
)

// Steepest is the steepest pitch of a plane that is read.
var Steepest = quantity.PitchOf(24, 12)

func readPlane(doc *planeDocument, i int) (Plane, error) {
	p := Plane{Mark: PlaneMark(doc.Mark)}
	if !isMark(doc.Mark) {
		return p, &Refusal{Code: "bad-mark", Where: fmt.Sprintf("planes[%d].mark", i), Was: clip(doc.Mark),
			Want: "1 to 32 letters, digits, dashes or dots, not roof and not the name of an edge such as ridge-1"}
	}
	at := fmt.Sprintf("plane %s", p.Mark)
	pitch, err := quantity.ParsePitch(doc.Pitch)
	if err != nil {
		return p, refuseParse(at+", pitch", err)
	}
	switch {
	case pitch.Slope() == 0:
		return p, &Refusal{Code: "zero-pitch", Where: at + ", pitch", Was: doc.Pitch, Want: "a rise above zero: standing seam needs a fall, 1/4 in 12 at the least"}
	case Steepest.Less(pitch):
		return p, &Refusal{Code: "too-steep", Where: at + ", pitch", Was: doc.Pitch, Want: "24/12 or flatter; what is steeper is a wall"}
	}
	p.Pitch = pitch
	if doc.FallsDeg == nil || !(*doc.FallsDeg >= 0 && *doc.FallsDeg <= 360) {
		was := "nothing"
		if doc.FallsDeg != nil {
			was = fmt.Sprint(*doc.FallsDeg)
		}
		return p, &Refusal{Code: "bad-fall", Where: at + ", falls_deg", Was: was, Want: "the compass bearing in which water runs off, 0 to 360"}
	}
	p.FallsDeg = *doc.FallsDeg
	if p.FallsDeg == 360 || p.FallsDeg == 0 {
		p.FallsDeg = 0 // and not minus zero
	}
	if doc.EaveHeight != "" {
		if p.EaveHeight, err = readLength(at+", eave_height", doc.EaveHeight); err != nil {
			return p, err
		}
	}
	rings := []ring{{name: "outline"}}
	if rings[0].points, err = readRing(at+", outline", doc.Outline); err != nil {
		return p, err
	}
	for j, o := range doc.Openings {
		r := ring{name: fmt.Sprintf("opening %d", j+1)}
		if r.points, err = readRing(at+", "+r.name, o); err != nil {
			return p, err
		}
		rings = append(rings, r)
	}
	if err := checkRings(p.Mark, rings); err != nil {
		return p, err
	}
	p.Outline = wind(rings[0].points, true)
	kinds, err := readOpeningKinds(at, doc.Kinds, len(doc.Openings))
	if err != nil {
		return p, err
	}
	for j, r := range rings[1:] {
		p.Openings = append(p.Openings, Opening{Mark: fmt.Sprintf("%s/opening-%d", p.Mark, j+1), Kind: kinds[j], Outline: wind(r.points, false)})
	}
	if err := readPipes(&p, doc.Pipes); err != nil {
		return p, err
	}
	p.lay()
	p.measure()
	return p, nil
}

// isMark tells whether s may name a plane: reports name planes, edges and the roof in
// one field, so that a plane may be called like neither.
func isMark(s string) bool {
	if s == "" || len(s) > 32 || s == "roof" {
		return false
	}
	for _, c := range s {
		if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '-' || c == '.' || c == '_') {
			return false
		}
	}
	if kind, _, ok := strings.Cut(s, "-"); ok && (Kind(kind).IsKind() || kind == "opening") {
		return false
	}
	return true
}

// readRing reads points, and drops a last one that repeats the first.
func readRing(at string, doc [][]string) ([]Point, error) {
	points := make([]Point, 0, len(doc))
	for i, pair := range doc {
		p, err := readPoint(fmt.Sprintf("%s, point %d", at, i+1), pair)
		if err != nil {
			return nil, err
		}
		points = append(points, p)
	}
	if n := len(points); n > 1 && points[0] == points[n-1] {
		points = points[:n-1]
	}
	return points, nil
}

func readPoint(at string, pair []string) (Point, error) {
	if len(pair) != 2 {
		return Point{}, &Refusal{Code: "bad-point", Where: at, Was: fmt.Sprintf("%d numbers", len(pair)), Want: "two lengths, east and north"}
	}
	x, err := readLength(at+", east", pair[0])
	if err != nil {
		return Point{}, err
	}
	y, err := readLength(at+", north", pair[1])
	return Point{x, y}, err
}

func readLength(at, s string) (quantity.Length, error) {
	l, err := quantity.ParseLength(s)
	if err != nil {
		return 0, refuseParse(at, err)
	}
	if l > Reach || l < -Reach {
		return 0, &Refusal{Code: "too-far", Where: at, Was: clip(s), Want: "10 km from the origin at most"}
	}
	return l, nil
}

func refuseParse(at string, err error) error {
	p, ok := errors.AsType[*quantity.ParseError](err)
	if !ok {
		return fmt.Errorf("%s: %w", at, err)
	}
	return &Refusal{Code: "unreadable-" + p.Kind, Where: at, Was: fmt.Sprintf("%q: %s", p.Was, p.Why), Want: p.Want}
}
