package roof

import (
	"bytes"
	"encoding/json/jsontext"
	json "encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"bydark/events/quantity"
)

// MaxCityBytes is the largest CityJSON file that is read.
const MaxCityBytes = 256 << 20

type cityDocument struct {
	Type        string                 `json:"type"`
	ID          string                 `json:"id"`
	Version     string                 `json:"version"`
	CityObjects map[string]*cityObject `json:"CityObjects"`
	Vertices    [][]float64            `json:"vertices"`
	Transform   *cityTransform         `json:"transform"`
}

type cityTransform struct {
	Scale     []float64 `json:"scale"`
	Translate []float64 `json:"translate"`
}

type cityObject struct {
	Type     string         `json:"type"`
	Parents  []string       `json:"parents"`
	Geometry []cityGeometry `json:"geometry"`
}

type cityGeometry struct {
	Type       string         `json:"type"`
	Lod        jsontext.Value `json:"lod"`
	Boundaries jsontext.Value `json:"boundaries"`
	Semantics  *struct {
		Surfaces []struct {
			Type string `json:"type"`
		} `json:"surfaces"`
		Values jsontext.Value `json:"values"`
	} `json:"semantics"`
}

// spot is a vertex in nanometres, in the file's own axes.
type spot struct{ x, y, z int64 }

// cityFace is a roof surface as it stands in the file.
type cityFace struct {
	part  string
	index int // of the surface in the part's boundaries
	rings [][]spot
}

// cityBuilding is a building with its parts, its roof surfaces, and its lowest vertex.
type cityBuilding struct {
	id     string
	faces  []cityFace
	ground int64
	reason string // why it cannot be used, if it cannot
}

// readCity reads a CityJSON file, or a text sequence of them: one header and then one
// feature after the other, each with its own vertices.
func readCity(data []byte) ([]cityBuilding, error) {
	if len(data) > MaxCityBytes {
		return nil, &Refusal{Code: "too-large", Where: "CityJSON file", Was: fmt.Sprintf("%d bytes", len(data)), Want: fmt.Sprintf("%d bytes at most", MaxCityBytes)}
	}
	decoder := jsontext.NewDecoder(bytes.NewReader(data))
	var transform *cityTransform
	var out []cityBuilding
	for n := 1; ; n++ {
		at := fmt.Sprintf("CityJSON file, document %d", n)
		value, err := decoder.ReadValue()
		if errors.Is(err, io.EOF) && n > 1 {
			return out, nil
		}
		var doc cityDocument
		if err == nil {
			err = json.Unmarshal(value, &doc)
		}
		if err != nil {
			return nil, &Refusal{Code: "not-cityjson", Where: at, Was: err.Error(), Want: "CityJSON 1.1 or 2.0, or a text sequence of it"}
		}
		switch {
		case doc.Type == "CityJSON" && n == 1:
			if v := doc.Version; !strings.HasPrefix(v, "1.1") && !strings.HasPrefix(v, "2.0") {
				return nil, &Refusal{Code: "cityjson-version", Where: at, Was: fmt.Sprintf("%q", v), Want: "version 1.1 or 2.0"}
			}
			transform = doc.Transform
		case doc.Type == "CityJSONFeature" && n > 1:
			if doc.Transform != nil {
				return nil, &Refusal{Code: "not-cityjson", Where: at, Was: "a transform of its own", Want: "the header's transform alone"}
			}
		default:
			return nil, &Refusal{Code: "not-cityjson", Where: at, Was: fmt.Sprintf("type %q", clip(doc.Type)), Want: "a CityJSON document first, CityJSONFeature documents after it"}
		}
		buildings, err := doc.buildings(transform)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", at, err)
		}
		out = append(out, buildings...)
	}
}

// buildings collects the document's buildings, in the order of their names, which a
// file's object has none of.
func (doc *cityDocument) buildings(transform *cityTransform) ([]cityBuilding, error) {
	vertices, err := transform.apply(doc.Vertices)
	if err != nil {
		return nil, err
	}
	byRoot := make(map[string]*cityBuilding)
	for _, id := range slices.Sorted(maps.Keys(doc.CityObjects)) {
		object := doc.CityObjects[id]
		if object == nil || object.Type != "Building" && object.Type != "BuildingPart" {
			continue
		}
		root := doc.root(id)
		b := byRoot[root]
		if b == nil {
			b = &cityBuilding{id: root, ground: math.MaxInt64}
			byRoot[root] = b
		}
		if err := b.add(id, object, vertices); err != nil && b.reason == "" {
			b.reason = err.Error()
		}
	}
	var out []cityBuilding
	for _, root := range slices.Sorted(maps.Keys(byRoot)) {
		out = append(out, *byRoot[root])
	}
	return out, nil
}

// root is the building that an object is a part of.
func (doc *cityDocument) root(id string) string {
	for range 10 { // parts of parts, and no ring of parents
		object := doc.CityObjects[id]
		if object == nil || len(object.Parents) == 0 || doc.CityObjects[object.Parents[0]] == nil {
			return id
		}
		id = object.Parents[0]
	}
	return id
}

func (t *cityTransform) apply(vertices [][]float64) ([]spot, error) {
	if t == nil || len(t.Scale) != 3 || len(t.Translate) != 3 {
		return nil, &Refusal{Code: "not-cityjson", Where: "transform", Want: "scale and translate, three numbers each"}
	}
	out := make([]spot, len(vertices))
	for i, v := range vertices {
		var nm [3]int64
		for axis := range 3 {
			if len(v) != 3 {
				return nil, &Refusal{Code: "not-cityjson", Where: fmt.Sprintf("vertex %d", i), Was: fmt.Sprintf("%d numbers", len(v)), Want: "three numbers"}
			}
			// The translation only says where on Earth; a roof has its own origin.
			l, ok := quantity.LengthOfMetres(v[axis] * t.Scale[axis])
			if !ok || l.Abs() > 1_000*Reach/10 {
				return nil, &Refusal{Code: "too-far", Where: fmt.Sprintf("vertex %d", i), Was: fmt.Sprint(v[axis]), Want: "a thousand kilometres from the translation at most"}
			}
			nm[axis] = int64(l)
		}
		out[i] = spot{nm[0], nm[1], nm[2]}
	}
	return out, nil
}

// add takes in the roof surfaces of one part: of its geometry in the highest level of
// detail from 2 on that has any.
func (b *cityBuilding) add(id string, object *cityObject, vertices []spot) error {
	best, level := -1, ""
	for i := range object.Geometry {
		g := &object.Geometry[i]
		if lod := strings.Trim(string(g.Lod), `"`); lod >= "2" && lod > level && g.hasRoof() {
			best, level = i, lod
		}
	}
	if best < 0 {
		return nil
	}
	surfaces, kinds, err := object.Geometry[best].surfaces()
	if err != nil {
		return fmt.Errorf("part %s: %w", clip(id), err)
	}
	for i, surface := range surfaces {
		face := cityFace{part: id, index: i}
		for _, indices := range surface {
			if kinds[i] == "RoofSurface" && len(indices) < 3 {
				return fmt.Errorf("part %s, face %d: a border of %d corners", clip(id), i, len(indices))
			}
			ring := make([]spot, len(indices))
			for k, v := range indices {
				if v < 0 || v >= len(vertices) {
					return fmt.Errorf("part %s, face %d: there is no vertex %d", clip(id), i, v)
				}
				ring[k] = vertices[v]
				b.ground = min(b.ground, ring[k].z)
			}
			face.rings = append(face.rings, ring)
		}
		if kinds[i] == "RoofSurface" && len(face.rings) > 0 {
			b.faces = append(b.faces, face)
		}
	}
	return nil
}

func (g *cityGeometry) hasRoof() bool {
	if g.Semantics == nil {
		return false
	}
	for _, s := range g.Semantics.Surfaces {
		if s.Type == "RoofSurface" {
			return true
		}
	}
	return false
}

// surfaces flattens the boundaries to surfaces, each a list of rings of vertices, with
// the kind that the semantics give each.
func (g *cityGeometry) surfaces() ([][][]int, []string, error) {
	var solids [][][][][]int
	var values [][][]*int
	var err, errValues error
	switch g.Type {
	case "MultiSurface", "CompositeSurface":
		solids, values = [][][][][]int{{nil}}, [][][]*int{{nil}}
		err, errValues = json.Unmarshal(g.Boundaries, &solids[0][0]), json.Unmarshal(g.Semantics.Values, &values[0][0])
	case "Solid":
		solids, values = [][][][][]int{nil}, [][][]*int{nil}
		err, errValues = json.Unmarshal(g.Boundaries, &solids[0]), json.Unmarshal(g.Semantics.Values, &values[0])
	case "MultiSolid", "CompositeSolid":
		err, errValues = json.Unmarshal(g.Boundaries, &solids), json.Unmarshal(g.Semantics.Values, &values)
	default:
		return nil, nil, fmt.Errorf("geometry of type %q is not surfaces or solids", clip(g.Type))
	}
	if err := errors.Join(err, errValues); err != nil {
		return nil, nil, fmt.Errorf("boundaries or semantics are not shaped as a %s: %s", g.Type, clip(err.Error()))
	}
	var out [][][]int
	var names []string
	for i, solid := range solids {
		for j, shell := range solid {
			for k, surface := range shell {
				name := ""
				if i < len(values) && j < len(values[i]) && k < len(values[i][j]) && values[i][j][k] != nil {
					if v := *values[i][j][k]; v >= 0 && v < len(g.Semantics.Surfaces) {
						name = g.Semantics.Surfaces[v].Type
					}
				}
				out, names = append(out, surface), append(names, name)
			}
		}
	}
	return out, names, nil
}
