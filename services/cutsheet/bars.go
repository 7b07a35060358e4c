package cutsheet

import (
	"fmt"

	"bydark/services/cutplan"
)

const (
	barHeight = 9.0
	box       = 3.6 // a tick box
	indent    = 7.0 // of bars, beside their boxes
	perRow    = 12  // pieces about, on one row of a long coil
)

// bars draws the bars of one plan.
type bars struct {
	*writer
	q      *cutplan.Request
	pieces map[string]cutplan.Piece
	span   int64   // length that the page's width stands for
	scale  float64 // millimetres for a unit of length
	alike  bool    // the bar that is drawn stands for several: their pieces' marks differ
}

func (w *writer) section(s *Section) {
	if s.Answer == nil || len(s.Answer.Bars) == 0 {
		return
	}
	b := bars{writer: w, q: &s.Request, pieces: map[string]cutplan.Piece{}}
	for _, p := range s.Request.Pieces {
		b.pieces[p.Name(s.Request.Plain)] = p
	}
	b.measure(s.Answer)
	head := wrap(s.Answer.Summary(&s.Request), 3.2, right-margin)
	w.room(20 + 5*float64(len(head)))
	w.page().text(text{x: margin, y: w.y + 6, size: 4.4, bold: true, s: s.Title})
	w.y += 7
	for _, line := range head {
		w.y += 4.4
		w.text(margin, w.y, 3.2, line)
	}
	w.y += 4
	for _, part := range Alike(&s.Request, s.Answer) {
		b.part(part, s.Answer.Bars)
	}
	w.y += 4
}

// measure chooses how much length goes on a row: the longest bar, or on a long coil a part
// of it that holds some dozen pieces.
func (b *bars) measure(a *cutplan.Answer) {
	count, sum, longest := int64(0), int64(0), int64(1)
	for _, bar := range a.Bars {
		b.span = max(b.span, bar.StockLength.N)
		for _, mark := range bar.Pieces {
			count, sum, longest = count+1, sum+b.pieces[mark].Length, max(longest, b.pieces[mark].Length)
		}
	}
	if short := sum / max(count, 1) * perRow; short < b.span {
		b.span = min(b.span, max(short, longest+b.q.Kerf))
	}
	b.scale = (right - margin - indent) / float64(b.span)
}

// placed is a piece and where on its bar it begins; sloped says that it shares its low end.
type placed struct {
	cutplan.Piece
	number int
	at     int64
}

// rows lays a bar's pieces out and parts them into rows.
func (b *bars) rows(bar *cutplan.Bar) [][]placed {
	var rows [][]placed
	var row []placed
	at, from := int64(0), int64(0)
	for k, mark := range bar.Pieces {
		p := b.pieces[mark]
		if k > 0 {
			at += b.q.Kerf
			if before := b.pieces[bar.Pieces[k-1]]; before.HighRun != 0 && before.HighRun == p.LowRun {
				at -= max(p.LowRun, -p.LowRun)
			}
		}
		if len(row) > 0 && at+p.Length-from > b.span {
			rows, row = append(rows, row), nil
		}
		if len(row) == 0 {
			from = at
		}
		row = append(row, placed{p, k + 1, at})
		at += p.Length
	}
	return append(rows, row)
}

// part draws bars that are cut alike: once, with the pieces of each below.
func (b *bars) part(part []int, all []cutplan.Bar) {
	bar := &all[part[0]]
	rows := b.rows(bar)
	b.alike = len(part) > 1
	var lines [][]entry
	for _, n := range part {
		lines = append(lines, b.legend(&all[n], n)...)
	}
	height := 6 + float64(len(rows))*(barHeight+3) + float64(len(lines))*4.6 + 3
	if height > bottom-margin-9 {
		height = 40 // too long for any page: it breaks between rows
	}
	b.room(height)
	y := b.y + 4
	head := fmt.Sprintf("%s.  %s", Numbers(part), bar.StockLength)
	if b.alike {
		head = fmt.Sprintf("%s:  %s, x %d", Numbers(part), bar.StockLength, len(part))
	} else {
		b.page().box(margin, y-3, box)
	}
	if bar.Stock != bar.StockLength.String() {
		head += ", " + bar.Stock
	}
	switch {
	case bar.Keep:
		head += "; KEEP the offcut of " + bar.Offcut.String() + b.ofEach()
	case bar.Offcut.N > 0:
		head += "; left over " + bar.Offcut.String() + b.ofEach()
	}
	b.page().text(text{x: margin + indent, y: y, size: 3.6, bold: true, s: fitted(head, 3.4, right-margin-indent)})
	b.y = y + 1.5
	for k, row := range rows {
		b.room(barHeight + 4)
		b.row(row, k == len(rows)-1, bar)
		b.y += barHeight + 3
	}
	for _, line := range lines {
		b.room(5)
		b.y += 4.6
		for _, e := range line {
			b.page().box(e.x, b.y-2.7, 2.8)
			b.text(e.x+4, b.y, 3.2, e.s)
		}
	}
	b.y += 3
}

// ofEach tells that what is left is left of each of several bars.
func (b *bars) ofEach() string {
	if b.alike {
		return " of each"
	}
	return ""
}

// row draws one row of a bar; the last one shows what is left, as far as the page goes.
func (b *bars) row(row []placed, last bool, bar *cutplan.Bar) {
	from := row[0].at
	x := func(at int64) float64 { return margin + indent + float64(at-from)*b.scale }
	end := row[len(row)-1].at + row[len(row)-1].Length
	if last {
		if stop := min(bar.StockLength.N, from+b.span); stop > end {
			b.page().hatched(x(end), b.y, x(stop)-x(end), barHeight)
		}
		end = max(end, min(bar.StockLength.N, from+b.span))
	}
	b.page().frame(x(from), b.y, x(end)-x(from), barHeight)
	for _, p := range row {
		b.piece(p, x)
	}
}

// piece draws one piece; the strip's left seam side lies on top, its low end to the left.
func (b *bars) piece(p placed, x func(int64) float64) {
	top, low := b.y, b.y+barHeight
	b.page().polygon([]point{
		{x(p.at + max(0, -p.LowRun)), top}, {x(p.at + p.Length - max(0, p.HighRun)), top},
		{x(p.at + p.Length - max(0, -p.HighRun)), low}, {x(p.at + max(0, p.LowRun)), low},
	})
	// What both seam sides have, between the oblique ends.
	from, to := max(p.LowRun, -p.LowRun), p.Length-max(p.HighRun, -p.HighRun)
	room := float64(to-from) * b.scale
	number, name := fmt.Sprint(p.number), p.Name(b.q.Plain)
	if b.alike {
		name = number
	}
	middle := x(p.at + (from+to)/2)
	if length := (cutplan.Measure{N: p.Length, Plain: b.q.Plain}).String(); p.Mark != "" && widthOf(name, 3)+1 < room && widthOf(length, 2.8)+1 < room {
		b.page().text(text{x: middle, y: b.y + 3.9, size: 3, s: name, middle: true, bold: true})
		b.page().text(text{x: middle, y: b.y + 7.6, size: 2.8, s: length, middle: true})
		return
	}
	if widthOf(number, 3) < room {
		b.page().text(text{x: middle, y: b.y + barHeight/2 + 1.2, size: 3, s: number, middle: true, bold: true})
	}
}

// entry is one piece in the list under its bar.
type entry struct {
	x float64
	s string
}

// legend lists the pieces of the nth bar with a box each, in lines as wide as the page.
func (b *bars) legend(bar *cutplan.Bar, n int) [][]entry {
	var lines [][]entry
	var line []entry
	x := margin + indent
	if b.alike {
		s := fmt.Sprintf("bar %d:", n+1)
		line = append(line, entry{x, s})
		x += widthOf(s, 3.2) + 8
	}
	for k, mark := range bar.Pieces {
		p := b.pieces[mark]
		s := fmt.Sprintf("%d  %s", k+1, mark)
		if p.Mark != "" {
			s += "  " + (cutplan.Measure{N: p.Length, Plain: b.q.Plain}).String()
		}
		for _, end := range endsOf(p, b.q.Plain) {
			s += " (" + end + ")"
		}
		s = fitted(s, 3.2, right-margin-indent-5)
		width := widthOf(s, 3.2) + 8
		if x+width > right && len(line) > 0 {
			lines, line, x = append(lines, line), nil, margin+indent
		}
		line = append(line, entry{x, s})
		x += width
	}
	return append(lines, line)
}

// Ends says how the ends of a piece of a request run off, seen from its low end on the
// strip, a line an end; nothing for square ones.
func Ends(q *cutplan.Request, mark string) []string {
	for _, p := range q.Pieces {
		if p.Name(q.Plain) == mark {
			return endsOf(p, q.Plain)
		}
	}
	return nil
}

func endsOf(p cutplan.Piece, plain bool) []string {
	var said []string
	for _, e := range []struct {
		name string
		run  int64
	}{{"low", p.LowRun}, {"high", p.HighRun}} {
		if e.run != 0 {
			side := "right"
			if e.run < 0 {
				side = "left"
			}
			said = append(said, fmt.Sprintf("%s end: %s side %s on", e.name, side, cutplan.Measure{N: max(e.run, -e.run), Plain: plain}))
		}
	}
	return said
}
