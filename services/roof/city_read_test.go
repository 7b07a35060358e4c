package roof_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"bydark/services/roof"
)

// shed is one document of one building: a roof of one plane, 10 m by 5 m rising 1 m,
// as a solid's shell of which only the roof is marked so.
func shed(version, geometry string) string {
	return fmt.Sprintf(`{"type":"CityJSON","version":%q,"transform":{"scale":[0.001,0.001,0.001],"translate":[85000,446000,3]},
"vertices":[[0,0,3000],[10000,0,3000],[10000,5000,4000],[0,5000,4000],[0,0,0],[10000,0,0]],
"CityObjects":{"b1":{"type":"Building","geometry":[%s]},"tree":{"type":"SolitaryVegetationObject","geometry":[{"type":"GeometryInstance","template":0,"boundaries":[0]}]}}}`, version, geometry)
}

const (
	surfaceShed = `{"type":"MultiSurface","lod":"2","boundaries":[[[0,1,2,3]],[[4,5,1,0]]],"semantics":{"surfaces":[{"type":"RoofSurface"},{"type":"WallSurface"}],"values":[0,1]}}`
	solidShed   = `{"type":"Solid","lod":"2.2","boundaries":[[[[0,1,2,3]],[[4,5,1,0]]]],"semantics":{"surfaces":[{"type":"RoofSurface"}],"values":[[0,null]]}}`
	multiSolid  = `{"type":"CompositeSolid","lod":"2.2","boundaries":[[[[[0,1,2,3]],[[4,5,1,0]]]]],"semantics":{"surfaces":[{"type":"RoofSurface"}],"values":[[[0,null]]]}}`
	blockShed   = `{"type":"MultiSurface","lod":"1","boundaries":[[[0,1,2,3]]]}`
)

func TestCityJSONShapes(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{
		"1.1 surfaces": shed("1.1", surfaceShed), "2.0 solid": shed("2.0", solidShed), "2.0.1 solids": shed("2.0.1", multiSolid),
		"best of two": shed("2.0", blockShed+","+solidShed),
		"a level that is no roof, and one that is": shed("2.0", strings.Replace(strings.Replace(solidShed, `"2.2"`, `"3.1"`, 1), "[[0,1,2,3]]", "[[0,1,2,5]]", 1)+","+surfaceShed),
		"one surface":        shed("2.0", strings.Replace(surfaceShed, "MultiSurface", "CompositeSurface", 1)),
		"drawn twice":        shed("2.0", strings.NewReplacer("[[[0,1,2,3]],", "[[[0,1,2,3]],[[3,0,1,2]],", "[0,1]}", "[0,0,1]}").Replace(surfaceShed)),
		"its level a number": shed("1.1", strings.Replace(surfaceShed, `"2"`, `2.1`, 1)),
		"a mark of bytes":    "\ufeff" + shed("2.0", surfaceShed),
		"in map coordinates": strings.NewReplacer("[0,0,3000]", "[85000000,5446000000,3000]", "[10000,0,3000]", "[85010000,5446000000,3000]", "[10000,5000,4000]", "[85010000,5446005000,4000]",
			"[0,5000,4000]", "[85000000,5446005000,4000]", "[0,0,0]", "[85000000,5446000000,0]", "[10000,0,0]", "[85010000,5446000000,0]", `[85000,446000,3]`, "[0,0,0]").Replace(shed("2.0", surfaceShed)),
		"an installation":   strings.Replace(shed("2.0", surfaceShed), `"b1":{"type":"Building",`, `"b1":{"type":"Building","children":["i"]},"i":{"type":"BuildingInstallation","parents":["b1"],`, 1),
		"members of others": strings.Replace(strings.Replace(shed("2.0", surfaceShed), `"type":"CityJSON",`, `"type":"CityJSON","extensions":{},"metadata":{"title":"x"},"appearance":{"materials":[]},"geometry-templates":{"templates":[],"vertices-templates":[]},"+own":1,`, 1), `"type":"Building",`, `"type":"Building","attributes":{"+a":{"b":[1]}},"address":[{}],"geographicalExtent":[0,0,0,1,1,1],`, 1),
		"a sequence": strings.Replace(strings.ReplaceAll(shed("2.0", surfaceShed), "\n", ""), `"vertices":[[0,0,3000],[10000,0,3000],[10000,5000,4000],[0,5000,4000],[0,0,0],[10000,0,0]],"CityObjects":{`,
			`"vertices":[],"CityObjects":{}}`+"\n\n"+`{"type":"CityJSONFeature","id":"b1","+x":{},"vertices":[[0,0,3000],[10000,0,3000],[10000,5000,4000],[0,5000,4000],[0,0,0],[10000,0,0]],"CityObjects":{`, 1) + "\n",
	} {
		buildings, err := roof.CityBuildings([]byte(text))
		if err != nil || len(buildings) != 1 || buildings[0].Roof == nil {
			t.Errorf("%s: %v %+v", name, err, buildings)
			continue
		}
		r := buildings[0].Roof
		// Falls south at 1 in 5; the ground is 3 m under the eave.
		if p := r.Planes[0]; p.FallsDeg != 180 || p.Pitch.String() != "2.4/12" || p.EaveHeight.Metres() != 3 || p.PlanArea.SquareMetres() != 50 {
			t.Errorf("%s: plane %+v", name, p)
		}
		line := buildings[0].Line()
		if line.ID != "b1" || line.Planes != 1 || line.Edges[roof.Rake] != 2 || line.Edges[roof.Ridge] != 1 || line.Skipped {
			t.Errorf("%s: %+v", name, line)
		}
	}
}

func TestCityJSONRefuses(t *testing.T) {
	t.Parallel()
	header := `{"type":"CityJSON","version":"2.0","transform":{"scale":[1,1,1],"translate":[0,0,0]},"CityObjects":{},"vertices":[]}`
	for name, text := range map[string]string{
		"empty": "", "rubbish": "<city/>", "a roof file": gable, "old version": shed("1.0", surfaceShed), "no transform": strings.Replace(shed("2.0", surfaceShed), `"transform"`, `"other"`, 1),
		"cut off": shed("2.0", surfaceShed)[:200], "a feature first": `{"type":"CityJSONFeature"}`, "two headers": header + header,
		"far away": strings.Replace(shed("2.0", surfaceShed), "[0,0,3000]", "[1e300,0,3000]", 1), "flat vertex": strings.Replace(shed("2.0", surfaceShed), "[0,0,3000]", "[0,0]", 1),
	} {
		if _, err := roof.CityBuildings([]byte(text)); err == nil {
			t.Errorf("%s was read", name)
		} else if _, ok := errors.AsType[*roof.Refusal](err); !ok {
			t.Errorf("%s: not a refusal: %v", name, err)
		}
	}
}

func TestCityJSONSkipsWithAReason(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ geometry, reason string }{
		"a block":        {blockShed, "no surface marked as roof in level of detail 2 or better, only MultiSurface in level 1"},
		"no semantics":   {`{"type":"Solid","lod":"2.2","boundaries":[[[[0,1,2,3]],[[4,5,1,0]]]]}`, "only Solid in level 2.2 without a RoofSurface"},
		"a template":     {`{"type":"GeometryInstance","lod":"2","template":0,"boundaries":[0],"transformationMatrix":[1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1]}`, "only GeometryInstance in level 2 without a RoofSurface"},
		"points":         {`{"type":"MultiPoint","lod":"2","boundaries":[0,1]}`, "only MultiPoint in level 2"},
		"values flat":    {strings.Replace(solidShed, "[[0,null]]", "[0,null]", 1), "not shaped as a Solid"},
		"values none":    {strings.Replace(surfaceShed, `,"values":[0,1]`, "", 1), "boundaries or semantics"},
		"values beyond":  {strings.Replace(surfaceShed, `[0,1]}`, "[7,-1]}", 1), "marked as roof"},
		"no such vertex": {strings.Replace(surfaceShed, "[[[0,1,2,3]]", "[[[0,1,2,99]]", 1), "no vertex 99"},
		"wrong depth":    {strings.Replace(solidShed, "Solid", "MultiSurface", 1), "not shaped as a MultiSurface"},
		"flat":           {strings.Replace(surfaceShed, "[[[0,1,2,3]]", "[[[4,5,4]]", 1), "no roof face has a slope"},
		"a wall":         {strings.Replace(surfaceShed, "[0,1]}", "[1,0]}", 1), "no roof face has a slope"},
		"a bow tie":      {strings.Replace(surfaceShed, "[[[0,1,2,3]]", "[[[0,1,3,2]]", 1), ""},
		"two corners":    {strings.Replace(surfaceShed, "[[[0,1,2,3]]", "[[[0,1]]", 1), ""},
		"no corner":      {strings.Replace(surfaceShed, "[[[0,1,2,3]]", "[[[]]", 1), ""},
	} {
		buildings, err := roof.CityBuildings([]byte(shed("2.0", c.geometry)))
		if err != nil || len(buildings) != 1 || buildings[0].Roof != nil || buildings[0].Reason == "" || !strings.Contains(buildings[0].Reason, c.reason) {
			t.Errorf("%s: %v %+v", name, err, buildings)
		}
	}
}
