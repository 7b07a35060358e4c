package roof

import (
	"bytes"
	"cmp"
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

// MaxCityVertices is how many vertices one document of it may have: a tile of a city has
// some hundred thousand.
const MaxCityVertices = 1_000_000

// cityVertices are a document's vertices. What has too many is refused before they are
// kept.
type cityVertices [][3]float64

// UnmarshalJSONFrom reads the list vertex by vertex.
func (v *cityVertices) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	if k := d.PeekKind(); k != '[' {
		var none [][3]float64 // null, or a fault in the library's words
		return json.UnmarshalDecode(d, &none)
	}
	if _, err := d.ReadToken(); err != nil {
		return err
	}
	for d.PeekKind() != ']' {
		if len(*v) == MaxCityVertices {
			return fmt.Errorf("more than %d vertices", MaxCityVertices)
		}
		var one [3]float64
		if err := json.UnmarshalDecode(d, &one); err != nil {
			return err
		}
		*v = append(*v, one)
	}
	_, err := d.ReadToken()
	return err
}

type cityDocument struct {
	Type        string                 `json:"type"`
	ID          string                 `json:"id"`
	Version     string                 `json:"version"`
	CityObjects map[string]*cityObject `json:"CityObjects"`
	Vertices    cityVertices           `json:"vertices"`
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

// cityBuilding is a building with its parts, its roof surfaces at each level of detail in
// which a part has any, and its lowest vertex.
type cityBuilding struct {
	id     string
	levels map[string][]cityPart
	ground int64
	reason string   // why it cannot be used, if it cannot
	seen   []string // what geometry it has that is of no use, in words
}

// cityPart is what one part has at one level of detail.
type cityPart struct {
	id    string
	faces []cityFace
}

// readCity reads a CityJSON file, or a text sequence of them: one header and then one
// feature after the other, each with its own vertices.
func readCity(data []byte) ([]cityBuilding, error) {
	if len(data) > MaxCityBytes {
		return nil, &Refusal{Code: "too-large", Where: "CityJSON file", Was: fmt.Sprintf("%d bytes", len(data)), Want: fmt.Sprintf("%d bytes at most", MaxCityBytes)}
	}
	// A buffer is parsed where it lies, without a copy.
	decoder := jsontext.NewDecoder(bytes.NewBuffer(bytes.TrimPrefix(data, []byte("\ufeff"))))
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

// buildingTypes are the objects whose roof surfaces make a building's roof: besides parts,
// what is fixed to it, such as a dormer that was modelled by itself.
var buildingTypes = []string{"Building", "BuildingPart", "BuildingInstallation"}

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
		if object == nil || !slices.Contains(buildingTypes, object.Type) {
			continue
		}
		root := doc.root(id)
		b := byRoot[root]
		if b == nil {
			b = &cityBuilding{id: root, ground: math.MaxInt64, levels: map[string][]cityPart{}}
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

// farthest is how far a vertex may lie from the translation: half round the Earth, for files
// that keep map coordinates whole.
const farthest = 20_000 * 1_000 * quantity.Metre

func (t *cityTransform) apply(vertices [][3]float64) ([]spot, error) {
	if t == nil || len(t.Scale) != 3 || len(t.Translate) != 3 {
		return nil, &Refusal{Code: "not-cityjson", Where: "transform", Want: "scale and translate, three numbers each"}
	}
	out := make([]spot, len(vertices))
	for i, v := range vertices {
		var nm [3]int64
		for axis := range 3 {
			// The translation only says where on Earth; a roof has its own origin.
			l, ok := quantity.LengthOfMetres(v[axis] * t.Scale[axis])
			if !ok || l.Abs() > farthest {
				return nil, &Refusal{Code: "too-far", Where: fmt.Sprintf("vertex %d", i), Was: fmt.Sprint(v[axis]), Want: "coordinates in metres, 20,000 km from the translation at most"}
			}
			nm[axis] = int64(l)
		}
		out[i] = spot{nm[0], nm[1], nm[2]}
	}
	return out, nil
}

// add takes in the roof surfaces of one part, at each level of detail from 2 on.
func (b *cityBuilding) add(id string, object *cityObject, vertices []spot) error {
	for i := range object.Geometry {
		g := &object.Geometry[i]
		lod := strings.Trim(string(g.Lod), `"`)
		switch {
		case lod < "2":
			b.seen = append(b.seen, fmt.Sprintf("%s in level %s", clip(g.Type), clip(lod)))
			continue
		case !g.hasRoof():
			b.seen = append(b.seen, fmt.Sprintf("%s in level %s without a RoofSurface", clip(g.Type), clip(lod)))
			continue
		}
		part, err := b.part(id, g, vertices)
		if err != nil {
			return fmt.Errorf("part %s: %w", clip(id), err)
		}
		b.levels[lod] = append(b.levels[lod], part)
	}
	return nil
}

// part reads one geometry's roof surfaces.
func (b *cityBuilding) part(id string, g *cityGeometry, vertices []spot) (cityPart, error) {
	part := cityPart{id: id}
	surfaces, kinds, err := g.surfaces()
	if err != nil {
		return part, err
	}
	for i, surface := range surfaces {
		face := cityFace{part: id, index: i}
		for _, indices := range surface {
			if kinds[i] == "RoofSurface" && len(indices) < 3 {
				return part, fmt.Errorf("face %d: a border of %d corners", i, len(indices))
			}
			ring := make([]spot, len(indices))
			for k, v := range indices {
				if v < 0 || v >= len(vertices) {
					return part, fmt.Errorf("face %d: there is no vertex %d", i, v)
				}
				ring[k] = vertices[v]
				b.ground = min(b.ground, ring[k].z)
			}
			face.rings = append(face.rings, ring)
		}
		if kinds[i] == "RoofSurface" && len(face.rings) > 0 {
			part.faces = append(part.faces, face)
		}
	}
	return part, nil
}

// key is the same for faces with the same corners, wherever they begin and whichever way
// they run: some files draw a face twice.
func (f *cityFace) key() string {
	var all []spot
	for _, ring := range f.rings {
		all = append(all, ring...)
	}
	slices.SortFunc(all, func(a, b spot) int {
		return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y), cmp.Compare(a.z, b.z))
	})
	return fmt.Sprint(len(f.rings), all)
}

// choices are the faces to make a roof of, best first: of every part the highest level of
// detail that it has, then the same without the highest level, as long as no part is left
// without any. A face that two parts draw counts once.
func (b *cityBuilding) choices() [][]cityFace {
	var all [][]cityFace
	parts := 0
	for levels := slices.Sorted(maps.Keys(b.levels)); len(levels) > 0; levels = levels[:len(levels)-1] {
		var faces []cityFace
		taken, drawn := map[string]bool{}, map[string]bool{}
		for _, level := range slices.Backward(levels) {
			for _, part := range b.levels[level] {
				if taken[part.id] {
					continue
				}
				taken[part.id] = true
				for _, face := range part.faces {
					if key := face.key(); !drawn[key] {
						drawn[key] = true
						faces = append(faces, face)
					}
				}
			}
		}
		if len(taken) < parts {
			break
		}
		parts = len(taken)
		all = append(all, faces)
	}
	return all
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
