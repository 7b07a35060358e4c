package roof_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bydark/services/roof"
)

// The open data of real roofs; testdata/roofs/README.md says where each is from and
// what the columns of the tables are worth.
var cities = []string{"analytic", "3dbag_2024_delft", "3dbag_901", "vienna", "zurich", "3dbag_5908"}

func cityBuildings(t *testing.T, name string) []roof.Building {
	t.Helper()
	data, err := os.ReadFile("../../testdata/roofs/" + name + ".city.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	buildings, err := roof.CityBuildings(data)
	if err != nil {
		t.Fatal(err)
	}
	return buildings
}

// table reads a CSV file as maps from column to field.
func table(t *testing.T, path string) []map[string]string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := make(map[string]string)
		for i, column := range rows[0] {
			m[column] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Of the buildings with a sloped plane whose faces are planar to 2 cm, at least 95 %
// import, and the others say why.
func TestMostRealRoofsImport(t *testing.T) {
	t.Parallel()
	asked, imported := 0, 0
	for _, name := range cities {
		sloped, bent := make(map[string]bool), make(map[string]bool)
		for _, row := range table(t, "../../testdata/roofs/"+name+".planes.csv") {
			if float(t, row["pitch_deg"]) >= 0.5 && float(t, row["pitch_deg"]) <= 63.5 {
				sloped[row["building"]] = true
			}
			if float(t, row["planarity_m"]) > 0.02 {
				bent[row["building"]] = true
			}
		}
		here, hereAsked := 0, 0
		for _, b := range cityBuildings(t, name) {
			if b.Roof == nil && len(b.Reason) < 20 {
				t.Errorf("%s %s was skipped without a reason", name, b.ID)
			}
			if !sloped[b.ID] || bent[b.ID] {
				continue
			}
			hereAsked++
			if b.Roof != nil {
				here++
			} else {
				t.Logf("%s %s: %s", name, b.ID, b.Reason)
			}
		}
		t.Logf("%s: %d of %d", name, here, hereAsked)
		asked, imported = asked+hereAsked, imported+here
	}
	if float64(imported) < 0.95*float64(asked) {
		t.Errorf("%d of %d buildings were imported", imported, asked)
	}
}

// Areas within 0.1 %, pitches within 0.1 and falls within 0.5 degrees of the raw
// polygons, and of the city's own figures where it gives any (Vienna).
func TestRealPlanesAgree(t *testing.T) {
	t.Parallel()
	for _, name := range cities {
		rows := make(map[string]map[string]string)
		for _, row := range table(t, "../../testdata/roofs/"+name+".planes.csv") {
			rows[row["building"]+"/"+row["part"]+"#"+row["face"]] = row
		}
		planes, wrong := 0, 0
		for _, b := range cityBuildings(t, name) {
			if b.Roof == nil {
				continue
			}
			cut := make(map[roof.FaceID]bool)
			for _, l := range b.Left {
				cut[l.FaceID] = true
			}
			for _, p := range b.Roof.Planes {
				raw, reference := 0.0, 0.0
				skip := false
				for _, f := range b.Faces[p.Mark] {
					row := rows[fmt.Sprintf("%s/%s#%d", b.ID, f.Part, f.Index)]
					skip = skip || cut[f]
					raw += float(t, row["area_m2"])
					if row["ref_area_m2"] != "" {
						reference += float(t, row["ref_area_m2"])
					}
					// A small face beside a large one in the same plane has a noisy normal of
					// its own.
					small := float(t, row["area_m2"]) < 0.5
					if len(b.Faces[p.Mark]) > 1 && small {
						continue
					}
					pitch := math.Atan(p.Pitch.Slope()) * 180 / math.Pi
					for _, column := range []string{"", "ref_"} {
						if row[column+"pitch_deg"] == "" || column == "ref_" && float(t, row["area_m2"]) < 1 {
							continue // the city prints hundredths: good from 1 m² up
						}
						if d := math.Abs(pitch - float(t, row[column+"pitch_deg"])); d > 0.1 {
							wrong++
							t.Logf("%s %s plane %s: pitch %.3f, %s%s", name, b.ID, p.Mark, pitch, column, row[column+"pitch_deg"])
						}
						if row[column+"azimuth_deg"] == "" || float(t, row[column+"azimuth_deg"]) < 0 {
							continue
						}
						if d := math.Abs(math.Remainder(p.FallsDeg-float(t, row[column+"azimuth_deg"]), 360)); d > 0.5 {
							wrong++
							t.Logf("%s %s plane %s: falls %.3f, %s%s", name, b.ID, p.Mark, p.FallsDeg, column, row[column+"azimuth_deg"])
						}
					}
				}
				if skip {
					continue
				}
				planes++
				if have := p.Area.SquareMetres(); math.Abs(have-raw) > 0.001*raw+0.0001 || reference > 0 && math.Abs(have-reference) > 0.001*reference+0.02 {
					wrong++
					t.Logf("%s %s plane %s of %d faces: %.4f m², raw %.4f, reference %.4f", name, b.ID, p.Mark, len(b.Faces[p.Mark]), have, raw, reference)
				}
			}
		}
		t.Logf("%s: %d planes, %d figures beyond tolerance", name, planes, wrong)
		if wrong > 0 {
			t.Errorf("%s: %d figures beyond tolerance", name, wrong)
		}
	}
}

// Ridges, hips and valleys agree with the second opinion on 97 % of their length.
func TestRealEdgesAgree(t *testing.T) {
	t.Parallel()
	total, same := 0.0, 0.0
	for _, name := range cities {
		type pair struct{ building, planes string }
		theirs := make(map[pair]map[string]float64)
		ours := make(map[pair]map[string]float64)
		planeOf := make(map[string]roof.PlaneMark)
		left := make(map[string]bool)
		for _, b := range cityBuildings(t, name) {
			if b.Roof == nil {
				continue
			}
			for mark, faces := range b.Faces {
				for _, f := range faces {
					planeOf[fmt.Sprintf("%s/%s#%d", b.ID, f.Part, f.Index)] = mark
				}
			}
			for _, l := range b.Left {
				left[fmt.Sprintf("%s/%s#%d", b.ID, l.Part, l.Index)] = true
			}
			for _, e := range b.Roof.Edges {
				if len(e.Planes) == 2 {
					add(ours, pair{b.ID, fmt.Sprint(e.Planes)}, string(e.Kind), e.Length.Metres())
				}
			}
		}
		for _, row := range table(t, "../../testdata/roofs/"+name+".edges.csv") {
			faces := strings.Split(row["faces"], ";")
			if len(faces) != 2 {
				continue
			}
			one, two := row["building"]+"/"+faces[0], row["building"]+"/"+faces[1]
			p, q := planeOf[one], planeOf[two]
			if p == "" || q == "" || p == q || left[one] || left[two] {
				continue
			}
			label := row["label"]
			if label == "pitch_break" {
				label = "break"
			}
			add(theirs, pair{row["building"], fmt.Sprint(slices.Sorted(slices.Values([]roof.PlaneMark{p, q})))}, label, float(t, row["length_m"]))
		}
		here, hereSame := 0.0, 0.0
		for at, labels := range theirs {
			for label, length := range labels {
				if label != "ridge" && label != "hip" && label != "valley" {
					continue
				}
				agreed := math.Min(length, ours[at][label])
				here, hereSame = here+length, hereSame+agreed
				if length-agreed > 0.05 {
					t.Logf("%s %s %s: they say %v, we say %v", name, at.building, at.planes, labels, ours[at])
				}
			}
		}
		t.Logf("%s: %.1f of %.1f m agree, %.2f %%", name, hereSame, here, 100*hereSame/math.Max(here, 1e-9))
		total, same = total+here, same+hereSame
	}
	t.Logf("in all %.1f of %.1f m, %.2f %%", same, total, 100*same/total)
	if same < 0.97*total {
		t.Errorf("only %.1f of %.1f m agree", same, total)
	}
}

// The made roofs are exact: every area, and every edge's kind and length.
func TestMadeRoofsAreExact(t *testing.T) {
	t.Parallel()
	word := map[string]string{"head": "ridge", "pitch_break": "break"}
	want := make(map[string][]string)
	for _, row := range table(t, "../../testdata/roofs/analytic.edges.csv") {
		kind := row["label"]
		if w, ok := word[kind]; ok {
			kind = w
		}
		want[row["building"]] = append(want[row["building"]], fmt.Sprintf("%s %.3f", kind, float(t, row["length_m"])))
	}
	areas := make(map[string]float64)
	for _, row := range table(t, "../../testdata/roofs/analytic.planes.csv") {
		areas[row["building"]] += float(t, row["area_m2"])
	}
	for _, b := range cityBuildings(t, "analytic") {
		var got []string
		for _, e := range b.Roof.Edges {
			got = append(got, fmt.Sprintf("%s %.3f", e.Kind, e.Length.Metres()))
		}
		slices.Sort(got)
		slices.Sort(want[b.ID])
		if !slices.Equal(got, want[b.ID]) {
			t.Errorf("%s has %v, want %v", b.ID, got, want[b.ID])
		}
		if got := b.Roof.Area().SquareMetres(); math.Abs(got-areas[b.ID]) > 1e-4*float64(len(b.Roof.Planes)) {
			t.Errorf("%s has %g m², want %g", b.ID, got, areas[b.ID])
		}
	}
}

func add[K comparable](m map[K]map[string]float64, key K, label string, length float64) {
	if m[key] == nil {
		m[key] = make(map[string]float64)
	}
	m[key][label] += length
}
