package takeoff_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json/v2"
	"errors"
	"math"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/takeoff"

	"github.com/xuri/excelize/v2"
)

// S39.
func TestCSVReadsBackAndGuardsFormulas(t *testing.T) {
	t.Parallel()
	e := of(t, rectangle("20'", "10'", "6/12", ""), "flat-clip")
	e.Lines[0].Name = "=1+1"
	e.Lines[1].Name = " @SUM(A1)"
	e.Lines[2].Name = "plain, with a comma and \"quotes\""
	var b bytes.Buffer
	if err := e.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	names := map[string]bool{}
	for block := range strings.SplitSeq(b.String(), "\n\n") {
		name, table, _ := strings.Cut(block, "\n")
		rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
		if err != nil || len(rows) < 2 {
			t.Fatalf("%s: %v", name, err)
		}
		names[name] = true
		if name == "order" {
			for i, want := range []string{"'=1+1", "' @SUM(A1)", "plain, with a comma and \"quotes\""} {
				if rows[i+1][1] != want {
					t.Errorf("name is %q, want %q", rows[i+1][1], want)
				}
			}
		}
	}
	if len(names) != 5 || !names["cut list"] {
		t.Errorf("sheets are %v", names)
	}
}

// S39.
func TestWorkbookReadsBack(t *testing.T) {
	t.Parallel()
	e := of(t, rectangle("20'", "10'", "6/12", ""), "flat-clip")
	e.Lines[0].Name = "+cmd"
	var b bytes.Buffer
	if err := e.WriteWorkbook(&b); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	sheets := e.Sheets()
	if got := book.GetSheetList(); len(got) != len(sheets) {
		t.Fatalf("sheets are %v", got)
	}
	for _, s := range sheets {
		rows, err := book.GetRows(s.Name)
		if err != nil || len(rows) != len(s.Rows)+1 {
			t.Errorf("sheet %s has %d rows, want %d: %v", s.Name, len(rows), len(s.Rows)+1, err)
		}
	}
	if got, err := book.GetCellValue("order", "B2"); err != nil || got != "'+cmd" {
		t.Errorf("name is %q, %v", got, err)
	}
	if f, err := book.GetCellFormula("order", "B2"); err != nil || f != "" {
		t.Errorf("formula is %q, %v", f, err)
	}
}

func TestDocumentHasWhatOthersRelyOn(t *testing.T) {
	t.Parallel()
	e := of(t, rectangle("20'", "10'", "9/12", ""), "flat-clip")
	data, err := json.Marshal(e.Document())
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Roof, Assembly string
		Planes         []struct {
			Mark        string  `json:"mark"`
			PlanAreaM2  float64 `json:"plan_area_m2"`
			AreaM2      float64 `json:"area_m2"`
			SlopeFactor float64 `json:"slope_factor"`
			Panels      []struct {
				Mark     string  `json:"mark"`
				CoverMM  float64 `json:"cover_mm"`
				LengthMM float64 `json:"length_mm"`
				LowEnd   string  `json:"low_end"`
				HighEnd  string  `json:"high_end"`
			} `json:"panels"`
		} `json:"planes"`
		Edges []struct {
			Mark     string   `json:"mark"`
			Kind     string   `json:"kind"`
			LengthMM float64  `json:"length_mm"`
			Planes   []string `json:"planes"`
			DrainsM2 float64  `json:"drains_m2"`
		} `json:"edges"`
		Lines []struct {
			Material  string  `json:"material"`
			Unit      string  `json:"unit"`
			Net       float64 `json:"net"`
			Waste     float64 `json:"waste"`
			Order     float64 `json:"order"`
			OrderUnit string  `json:"order_unit"`
			Basis     string  `json:"basis"`
		} `json:"lines"`
	}
	if err := json.Unmarshal(data, &got, json.MatchCaseInsensitiveNames(true)); err != nil {
		t.Fatal(err)
	}
	p := got.Planes[0]
	if got.Roof != "shed" || got.Assembly != "flat-clip" || p.Mark != "A" || p.SlopeFactor != 1.25 || math.Abs(p.AreaM2-p.PlanAreaM2*1.25) > 1e-9 ||
		len(p.Panels) != 15 || p.Panels[0].Mark != "A-01" || p.Panels[0].LengthMM != 3810 || p.Panels[0].CoverMM != 406.4 || p.Panels[0].LowEnd != "square" {
		t.Errorf("%+v", got)
	}
	drained := 0.0
	for _, g := range got.Edges {
		drained += g.DrainsM2
	}
	if math.Abs(drained-p.PlanAreaM2) > 1e-9 || len(got.Edges) != 4 {
		t.Errorf("edges %+v drain %v of %v", got.Edges, drained, p.PlanAreaM2)
	}
	for _, l := range got.Lines {
		if l.Material == "felt" && (l.Unit != "m2" || l.OrderUnit != "roll" || l.Order != 2 || math.Abs(l.Net-p.AreaM2) > 1e-9) {
			t.Errorf("%+v", l)
		}
	}
}

type full struct{ room int }

var errFull = errors.New("no space left")

func (f *full) Write(p []byte) (int, error) {
	if len(p) > f.room {
		return 0, errFull
	}
	f.room -= len(p)
	return len(p), nil
}

func TestOutputsTellAFullDisk(t *testing.T) {
	t.Parallel()
	e := of(t, rectangle("20'", "10'", "6/12", ""), "flat-clip")
	for _, room := range []int{0, 10, 2000} {
		for name, err := range map[string]error{
			"csv": e.WriteCSV(&full{room}), "text": e.WriteText(&full{room}), "workbook": e.WriteWorkbook(&full{room}),
		} {
			if !errors.Is(err, errFull) {
				t.Errorf("%s into %d bytes: %v", name, room, err)
			}
		}
	}
}

func TestTextIsReadable(t *testing.T) {
	t.Parallel()
	e := of(t, rectangle("52 in", "10'", "9/12", ""), "flat-clip")
	e.Roof = "shed \x1b[31mred"
	var b bytes.Buffer
	if err := e.WriteText(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"ORDER", "CUT LIST", "EDGES", "CHECKS", `12'-6"`, takeoff.Caution, "The start is shifted by 6\"", (10 * quantity.Inch).String()} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
	if strings.ContainsRune(b.String(), '\x1b') {
		t.Error("the terminal's escape went through")
	}
}
