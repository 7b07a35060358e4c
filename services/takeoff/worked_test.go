package takeoff_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"bydark/events/quantity"
	"bydark/services/roof"
	"bydark/services/takeoff"
)

// tables reads the sheet's tables: rows of cells, those of one table together.
func tables(t *testing.T, path string) [][][]string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var all [][][]string
	inside := false
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "|") {
			inside = false
			continue
		}
		if !inside {
			all, inside = append(all, nil), true
		}
		var cells []string
		for _, cell := range strings.Split(strings.Trim(line, "|"), "|") {
			cells = append(cells, strings.TrimSpace(cell))
		}
		all[len(all)-1] = append(all[len(all)-1], cells)
	}
	return all
}

// words prints an amount as the sheet does.
func words(a quantity.Amount) string {
	switch a.Kind() {
	case quantity.Lengthwise:
		return a.Length().Nearest(16)
	case quantity.Areal:
		return fmt.Sprintf("%.1f sqft", a.Area().SquareFeet())
	}
	return fmt.Sprint(a.Thousandths() / 1000)
}

func TestWorkedSheetOfAnLShapedHippedRoof(t *testing.T) {
	t.Parallel()
	doc, err := os.ReadFile("../../testdata/takeoff/l-hip.json")
	if err != nil {
		t.Fatal(err)
	}
	e := of(t, string(doc), "flat-clip")
	sheet := tables(t, "../../testdata/takeoff/l-hip.md")
	if len(sheet) != 3 {
		t.Fatalf("the sheet has %d tables", len(sheet))
	}
	planes, edges, lines := sheet[0][2:], sheet[1][2:], sheet[2][2:]
	if len(planes) != len(e.Planes) {
		t.Fatalf("%d planes, by hand %d", len(e.Planes), len(planes))
	}
	for i, p := range e.Planes {
		var cut quantity.Length
		for _, panel := range p.Panels {
			cut += panel.Length
		}
		got := []string{string(p.Mark), fmt.Sprintf("%.1f", p.PlanArea.SquareFeet()), fmt.Sprintf("%.1f", p.Area.SquareFeet()), fmt.Sprint(len(p.Panels)), cut.String()}
		want := []string{planes[i][0], planes[i][2], planes[i][3], planes[i][4], planes[i][5]}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("plane %v, by hand %v", got, want)
		}
	}
	for _, row := range edges {
		n, together := 0, quantity.Length(0)
		for _, g := range e.Edges {
			if g.Kind == row[0] {
				n, together = n+1, together+g.Length
			}
		}
		if fmt.Sprint(n) != row[1] || together.Nearest(16) != row[3] {
			t.Errorf("%d edges of kind %s, together %s; by hand %s, %s", n, row[0], together.Nearest(16), row[1], row[3])
		}
	}
	if len(lines) != len(e.Lines) {
		t.Errorf("%d lines, by hand %d", len(e.Lines), len(lines))
	}
	for i, l := range e.Lines {
		got := []string{string(l.Material), words(l.Net), words(l.Waste), fmt.Sprintf("%d %s", l.Packs, l.OrderUnit)}
		if i < len(lines) && fmt.Sprint(got) != fmt.Sprint(lines[i]) {
			t.Errorf("line %v, by hand %v; %s", got, lines[i], l.Basis)
		}
	}
}

// The panels of one plane under a hip and above a valley, as the sheet reasons.
func TestWorkedSheetsPanelsAboveTheValley(t *testing.T) {
	t.Parallel()
	doc, err := os.ReadFile("../../testdata/takeoff/l-hip.json")
	if err != nil {
		t.Fatal(err)
	}
	e, err := takeoff.Laid(read(t, string(doc)), shipped(t, "flat-clip"), takeoff.Layout{Starts: map[roof.PlaneMark]takeoff.Start{"NE": {From: takeoff.FromLeft}}})
	if err != nil {
		t.Fatal(err)
	}
	panels := e.Planes[2].Panels
	for i, p := range panels {
		want := min(i+1, 9, 27-i) * 20
		if p.Length != quantity.Length(want)*quantity.Inch {
			t.Errorf("%s is cut %v, by hand %d in", p.Mark, p.Length, want)
		}
		low, high := "square", "square"
		if i < 9 {
			high = "angled 51.3°, long at the right" // atan 20/16
		}
		if i >= 18 {
			low = "angled 51.3°, long at the left"
		}
		if p.LowEnd != low || p.HighEnd != high {
			t.Errorf("%s ends %s and %s, by hand %s and %s", p.Mark, p.LowEnd, p.HighEnd, low, high)
		}
	}
}
