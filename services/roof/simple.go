package roof

import (
	"encoding/json/v2"
	"slices"

	"bydark/events/quantity"
)

// Shape is the form of a roof over a rectangle.
type Shape string

// The shapes that can be said in a few words. Whatever else a roof is, its file says.
const (
	// ShedRoof is one plane that falls to the front.
	ShedRoof Shape = "shed"
	// GableRoof is two planes that meet in a ridge along the front.
	GableRoof Shape = "gable"
	// HipRoof is four planes of one pitch.
	HipRoof Shape = "hip"
)

// Shapes lists them.
func Shapes() []Shape { return []Shape{GableRoof, HipRoof, ShedRoof} }

// Facings are the ways that a simple roof's front eave can look.
func Facings() []string { return []string{"south", "west", "north", "east"} }

// Simple is a roof over a rectangle, as somebody says it who has no drawing: all its planes
// have one pitch and all its eaves one height.
type Simple struct {
	Name  string
	Shape Shape
	// Along is the length of the front eave, Across the depth behind it, both in plan.
	Along, Across quantity.Length
	Pitch         string
	// Faces is one of Facings, EaveHeight that of the eave above the ground.
	Faces      string
	EaveHeight quantity.Length
}

// File is the roof file of it, which Read checks as it does any other. It refuses, with a
// *Refusal, what is no rectangle or no shape.
func (s Simple) File() ([]byte, error) {
	turns := slices.Index(Facings(), s.Faces)
	switch {
	case turns < 0:
		return nil, &Refusal{Code: "unknown-facing", Where: "faces", Was: s.Faces, Want: "south, west, north or east"}
	case s.Along <= 0:
		return nil, &Refusal{Code: "not-above-zero", Where: "along", Was: s.Along.String(), Want: "a length above zero"}
	case s.Across <= 0:
		return nil, &Refusal{Code: "not-above-zero", Where: "across", Was: s.Across.String(), Want: "a length above zero"}
	}
	planes, err := s.facingSouth()
	if err != nil {
		return nil, err
	}
	doc := document{Name: s.Name}
	for _, p := range planes {
		fall := (p.fall + 90*turns) % 360
		falls := float64(fall)
		var outline [][]string
		for _, at := range p.outline {
			x, y := s.turned(at[0], at[1], turns)
			outline = append(outline, []string{x.String(), y.String()})
		}
		doc.Planes = append(doc.Planes, planeDocument{
			Mark: map[int]string{0: "north", 90: "east", 180: "south", 270: "west"}[fall], Outline: outline, Pitch: s.Pitch, FallsDeg: &falls, EaveHeight: s.EaveHeight.String(),
		})
	}
	return json.Marshal(doc, json.Deterministic(true))
}

// simplePlane is one plane of a roof whose front looks south; fall is a compass bearing.
type simplePlane struct {
	fall    int
	outline [][2]quantity.Length
}

func (s Simple) facingSouth() ([]simplePlane, error) {
	w, d := s.Along, s.Across
	half := d / 2
	switch s.Shape {
	case ShedRoof:
		return []simplePlane{{180, [][2]quantity.Length{{0, 0}, {w, 0}, {w, d}, {0, d}}}}, nil
	case GableRoof:
		return []simplePlane{
			{180, [][2]quantity.Length{{0, 0}, {w, 0}, {w, half}, {0, half}}},
			{0, [][2]quantity.Length{{0, half}, {w, half}, {w, d}, {0, d}}},
		}, nil
	case HipRoof:
		in := min(w, d) / 2
		// The ridge's ends; one point where the rectangle is a square.
		a, b := [2]quantity.Length{in, in}, [2]quantity.Length{w - in, in}
		if w < d {
			b = [2]quantity.Length{in, d - in}
		}
		if w == d {
			b = a
		}
		front, back, left, right := a, b, a, b
		ring := func(points ...[2]quantity.Length) [][2]quantity.Length { return slices.Compact(points) }
		if w >= d { // the ridge runs along the front
			return []simplePlane{
				{180, ring([2]quantity.Length{0, 0}, [2]quantity.Length{w, 0}, right, left)},
				{0, ring([2]quantity.Length{w, d}, [2]quantity.Length{0, d}, left, right)},
				{90, ring([2]quantity.Length{w, 0}, [2]quantity.Length{w, d}, right)},
				{270, ring([2]quantity.Length{0, d}, [2]quantity.Length{0, 0}, left)},
			}, nil
		}
		return []simplePlane{
			{180, ring([2]quantity.Length{0, 0}, [2]quantity.Length{w, 0}, front)},
			{0, ring([2]quantity.Length{w, d}, [2]quantity.Length{0, d}, back)},
			{90, ring([2]quantity.Length{w, 0}, [2]quantity.Length{w, d}, back, front)},
			{270, ring([2]quantity.Length{0, d}, [2]quantity.Length{0, 0}, front, back)},
		}, nil
	}
	return nil, &Refusal{Code: "unknown-shape", Where: "shape", Was: string(s.Shape), Want: "gable, hip or shed"}
}

// turned is a point after quarter turns with the clock, kept in the first quadrant.
func (s Simple) turned(x, y quantity.Length, turns int) (quantity.Length, quantity.Length) {
	switch turns {
	case 1:
		return y, s.Along - x
	case 2:
		return s.Along - x, s.Across - y
	case 3:
		return s.Across - y, x
	}
	return x, y
}
