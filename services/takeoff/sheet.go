package takeoff

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
	"bydark/services/assembly"
)

// Sheet is one table of the estimate: its name, the heads of its columns, its rows. A cell
// is a string or a float64.
type Sheet struct {
	Name  string
	Heads []string
	Rows  [][]any
}

// Sheets are the order, the cut list, the edges, the checks to make on the roof before
// cutting, and the workings: what each step at each place takes and how it was reckoned.
func (e *Estimate) Sheets() []Sheet {
	return []Sheet{e.orderSheet(), e.cutSheet(), e.edgeSheet(), e.checkSheet(), e.workSheet()}
}

// tradeUnit is what an amount is read in on a sheet: feet, square feet, or each.
func tradeUnit(unit string) string {
	switch unit {
	case assembly.UnitLength:
		return "ft"
	case assembly.UnitArea:
		return "sqft"
	}
	return unit
}

// inTrade is an amount in its trade unit, to a hundredth.
func inTrade(a quantity.Amount) float64 {
	switch a.Kind() {
	case quantity.Lengthwise:
		return hundredths(a.Length().Feet())
	case quantity.Areal:
		return hundredths(a.Area().SquareFeet())
	}
	return a.Plain()
}

func (e *Estimate) workSheet() Sheet {
	s := Sheet{Name: "workings", Heads: []string{"place", "step", "material", "net", "laps", "unit", "how"}}
	units := map[events.MaterialID]string{}
	for i := range e.Lines {
		units[e.Lines[i].Material] = tradeUnit(e.Lines[i].Unit)
	}
	for i := range e.Demands {
		d := &e.Demands[i]
		s.Rows = append(s.Rows, []any{string(d.Place), string(d.Step), string(d.Material), inTrade(d.Net), inTrade(d.Laps), units[d.Material], d.Basis})
	}
	return s
}

func (e *Estimate) orderSheet() Sheet {
	s := Sheet{Name: "order", Heads: []string{"material", "name", "order", "in", "net", "waste", "ordered", "unit", "basis", "places"}}
	if len(e.TooFlat) > 0 { // whoever orders by this sheet alone must know
		s.Rows = append(s.Rows, []any{"INCOMPLETE", "not of the whole roof: too flat and left out", "", "", "", "", "", "", e.Notes[0], joinPlaces(e.TooFlat)})
	}
	for i := range e.Lines {
		l := &e.Lines[i]
		s.Rows = append(s.Rows, []any{
			string(l.Material), l.Name, float64(l.Packs), l.OrderUnit, inTrade(l.Net), inTrade(l.Waste), inTrade(l.Order), tradeUnit(l.Unit), l.Basis, joinPlaces(l.Places),
		})
	}
	return s
}

func (e *Estimate) cutSheet() Sheet {
	s := Sheet{Name: "cut list", Heads: []string{"panel", "plane", "cover", "cut length", "low end", "high end", "low edge", "high edge", "low end gains", "high end gains", "covers sqft", "cut out"}}
	for i := range e.Planes {
		for k := range e.Planes[i].Panels {
			p := &e.Planes[i].Panels[k]
			s.Rows = append(s.Rows, []any{
				string(p.Mark), string(p.Plane), p.Cover.Nearest(16), p.Length.String(), p.LowEnd, p.HighEnd, string(p.LowEdge), string(p.HighEdge),
				p.LowGain.Nearest(16), p.HighGain.Nearest(16), hundredths(p.Area.SquareFeet()), cutoutWords(p.Cutouts),
			})
		}
	}
	return s
}

func (e *Estimate) edgeSheet() Sheet {
	s := Sheet{Name: "edges", Heads: []string{"edge", "kind", "length", "planes", "drains sqft", "comes sqft"}}
	for _, g := range e.Edges {
		s.Rows = append(s.Rows, []any{
			string(g.Mark), g.Kind, g.Length.Nearest(16), joinPlaces(g.Planes), hundredths(g.Sheds.SquareFeet()), hundredths(g.Drains.SquareFeet()),
		})
	}
	for i := range e.Openings {
		o := &e.Openings[i]
		s.Rows = append(s.Rows, []any{string(o.Mark), o.Kind + ", flashed round", o.Round.Nearest(16), string(o.Plane), "", hundredths(o.Above.SquareFeet())})
	}
	return s
}

// checkSheet is what to measure before the first cut, each plane's slope length and each
// edge's length as drawn, with room for what the tape says; then the assembly's checks;
// then the notes.
func (e *Estimate) checkSheet() Sheet {
	s := Sheet{Name: "checks", Heads: []string{"place", "step", "check", "as drawn", "on the roof", "stops", "source"}}
	add := func(place events.Place, step, check, drawn, stops, source string) {
		s.Rows = append(s.Rows, []any{string(place), step, check, drawn, "", stops, source})
	}
	for i := range e.Planes {
		p := &e.Planes[i]
		add(p.Mark, "before cutting", "slope length", p.Height.Nearest(16), "", "")
		for _, note := range p.Notes {
			add(p.Mark, "before cutting", note, "", "", "")
		}
	}
	for _, g := range e.Edges {
		add(g.Mark, "before cutting", "length", g.Length.Nearest(16), "", "")
	}
	for i := range e.Openings {
		o := &e.Openings[i]
		add(o.Mark, "before cutting", "width across the fall", o.Width.Nearest(16), "", "")
		if o.Sides > 0 {
			add(o.Mark, "before cutting", "length up the slope, both sides together", o.Sides.Nearest(16), "", "")
		}
	}
	for _, c := range e.Checks {
		what := c.What
		if c.Photo {
			what += " With a picture."
		}
		add(c.Place, string(c.Step), what, "", c.Blocks, c.Source)
	}
	for _, note := range slices.Concat(e.Notes, []string{Caution}) {
		add(events.WholeRoof, "", note, "", "", "")
	}
	return s
}

func hundredths(v float64) float64 { return float64(int64(v*100+0.5)) / 100 }

func joinPlaces(places []events.Place) string {
	parts := make([]string, len(places))
	for i, p := range places {
		parts[i] = string(p)
	}
	return strings.Join(parts, " ")
}

// guarded keeps a spreadsheet from reading text as a formula (CWE-1236): a cell that
// begins with one of its signs, or with a blank before one, gets an apostrophe before it.
func guarded(cell any) string {
	s := fmt.Sprint(cell)
	if _, isNumber := cell.(float64); isNumber {
		return s
	}
	if t := strings.TrimLeft(s, " \t\r\n"); t != "" && strings.ContainsRune("=+-@", rune(t[0])) || s != "" && strings.ContainsRune("\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

// WriteCSV writes the sheets one below the other, each under a line with its name, with
// an empty line between. Errors are w's.
func (e *Estimate) WriteCSV(w io.Writer) error {
	for i, s := range e.Sheets() {
		lead := s.Name + "\n"
		if i > 0 {
			lead = "\n" + lead
		}
		if _, err := io.WriteString(w, lead); err != nil {
			return fmt.Errorf("sheet %s: %w", s.Name, err)
		}
		c := csv.NewWriter(w)
		c.Write(s.Heads)
		for _, row := range s.Rows {
			cells := make([]string, len(row))
			for k, cell := range row {
				cells[k] = guarded(cell)
			}
			c.Write(cells)
		}
		// The writer keeps its first error, and gives it here.
		c.Flush()
		if err := c.Error(); err != nil {
			return fmt.Errorf("sheet %s: %w", s.Name, err)
		}
	}
	return nil
}

// WriteText writes the estimate for a terminal: order, cut list, edges, checks, in
// columns. Errors are w's.
func (e *Estimate) WriteText(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, built as %s\n", printable(e.Roof), printable(e.Assembly))
	for _, note := range e.Notes[:len(e.TooFlat)] { // they stand first
		fmt.Fprintf(&b, "%s\n", printable(note))
	}
	for _, s := range e.Sheets() {
		fmt.Fprintf(&b, "\n%s\n", strings.ToUpper(s.Name))
		s.text(&b)
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("text of %s: %w", e.Roof, err)
	}
	return nil
}

// printable takes out what a terminal would obey.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
			return -1
		}
		return r
	}, s)
}

func (s *Sheet) text(b *strings.Builder) {
	wide := make([]int, len(s.Heads))
	rows := [][]string{s.Heads}
	for _, row := range s.Rows {
		cells := make([]string, len(row))
		for k, cell := range row {
			if v, ok := cell.(float64); ok {
				cells[k] = strings.TrimSuffix(strings.TrimSuffix(fmt.Sprintf("%.2f", v), "0"), ".0")
			} else {
				cells[k] = printable(fmt.Sprint(cell))
			}
		}
		rows = append(rows, cells)
	}
	const most = 40 // a longer cell runs on, and does not widen its column
	for _, row := range rows {
		for k, cell := range row {
			wide[k] = max(wide[k], min(len([]rune(cell)), most))
		}
	}
	for _, row := range rows {
		line := ""
		for k, cell := range row {
			line += cell + strings.Repeat(" ", max(wide[k]-len([]rune(cell)), 0)) + "  "
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}
