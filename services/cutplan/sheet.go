package cutplan

import (
	"fmt"
	"html"
	"strings"
)

// The sheet is drawn in millimetres of paper.
const (
	sheetWidth  = 277.0 // a landscape page less its margins
	barHeight   = 7.0
	rowHeight   = 17.0
	sheetTop    = 18.0
	boxSize     = 4.0
	barLeft     = 10.0
	letterWidth = 1.9 // of the marks' type, about
)

// Sheet draws the plan as an SVG to hang at the saw: each bar to scale with the marks and lengths of its pieces in the
// order they are cut, the offcut hatched, an oblique end drawn oblique, and a box to tick. It is black on white and tells
// nothing by colour. The request is the one that the answer was made for.
func Sheet(title string, q Request, a *Answer) string {
	var b strings.Builder
	longest := int64(1)
	for _, bar := range a.Bars {
		longest = max(longest, bar.StockLength.N)
	}
	s := sheet{b: &b, q: &q, scale: (sheetWidth - barLeft) / float64(longest), pieces: map[string]Piece{}}
	for _, p := range q.Pieces {
		s.pieces[p.name(q.Plain)] = p
	}
	height := sheetTop + rowHeight*float64(len(a.Bars)) + 8
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%.0fmm" height="%.0fmm" viewBox="0 0 %.0f %.0f" role="img" font-family="sans-serif">`,
		sheetWidth, height, sheetWidth, height)
	fmt.Fprintf(&b, `<title>%s</title><defs><pattern id="left-over" width="2" height="2" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path d="M0 0V2" stroke="#000" stroke-width=".3"/></pattern></defs>`,
		html.EscapeString(title))
	fmt.Fprintf(&b, `<text x="0" y="6" font-size="5" font-weight="bold">%s</text>`, html.EscapeString(title))
	fmt.Fprintf(&b, `<text x="0" y="12" font-size="3.5">%s</text>`, html.EscapeString(a.summary(&q)))
	for n, bar := range a.Bars {
		s.bar(n, bar, sheetTop+rowHeight*float64(n))
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// summary is the plan in one line.
func (a *Answer) summary(q *Request) string {
	proof := "fewest possible"
	if a.Cost != "" {
		proof = "cheapest possible"
	}
	if !a.Proven {
		proof = fmt.Sprintf("not proven: no plan takes fewer than %d", a.LowerBound)
	}
	line := fmt.Sprintf("%d bars, %d of them new (%s)", a.Used, a.NewBars, proof)
	if q.Kerf > 0 {
		line += "; kerf " + Measure{q.Kerf, q.Plain}.String()
	}
	if a.AngleSaved != nil {
		line += "; shared cuts save " + a.AngleSaved.Length.String()
	}
	return line
}

type sheet struct {
	b      *strings.Builder
	q      *Request
	scale  float64
	pieces map[string]Piece
}

func (s *sheet) bar(n int, bar Bar, y float64) {
	fmt.Fprintf(s.b, `<rect x="0" y="%.2f" width="%g" height="%g" fill="none" stroke="#000" stroke-width=".4"/>`,
		y+(barHeight-boxSize)/2, boxSize, boxSize)
	head := fmt.Sprintf("%d. %s", n+1, bar.StockLength)
	if bar.Stock != bar.StockLength.String() {
		head += " (" + bar.Stock + ")"
	}
	switch {
	case bar.Keep:
		head += ", keep " + bar.Offcut.String()
	case bar.Offcut.N > 0:
		head += ", left " + bar.Offcut.String()
	}
	fmt.Fprintf(s.b, `<text x="%g" y="%.2f" font-size="3">%s</text>`, barLeft, y-1, html.EscapeString(head))
	fmt.Fprintf(s.b, `<rect x="%g" y="%.2f" width="%.2f" height="%g" fill="url(#left-over)" stroke="#000" stroke-width=".3"/>`,
		barLeft, y, float64(bar.StockLength.N)*s.scale, barHeight)
	at := int64(0)
	for k, mark := range bar.Pieces {
		p := s.pieces[mark]
		if k > 0 {
			at += s.q.Kerf
			if before := s.pieces[bar.Pieces[k-1]]; before.HighRun != 0 && before.HighRun == p.LowRun {
				at -= abs(p.LowRun)
			}
		}
		s.piece(p, at, y)
		s.label(bar.Pieces, k, at, y)
		at += p.Length
	}
}

// piece draws one piece; the strip's left seam side lies on top, its low end at the left of the page.
func (s *sheet) piece(p Piece, at int64, y float64) {
	x := func(n int64) float64 { return barLeft + float64(at+n)*s.scale }
	fmt.Fprintf(s.b, `<path d="M%.2f %.2fH%.2fL%.2f %.2fH%.2fZ" fill="#fff" stroke="#000" stroke-width=".4"/>`,
		x(max(0, -p.LowRun)), y, x(p.Length-max(0, p.HighRun)),
		x(p.Length-max(0, -p.HighRun)), y+barHeight, x(max(0, p.LowRun)))
}

// label writes mark and length into piece k that begins at. Pieces too short for that share one label below for all of a
// kind that follow each other.
func (s *sheet) label(marks []string, k int, at int64, y float64) {
	p := s.pieces[marks[k]]
	text := marks[k]
	if p.Mark != "" {
		text += " " + Measure{p.Length, s.q.Plain}.String()
	}
	middle := barLeft + float64(at+p.Length/2)*s.scale
	if float64(len([]rune(text)))*letterWidth <= float64(p.Length)*s.scale {
		fmt.Fprintf(s.b, `<text x="%.2f" y="%.2f" font-size="3.2" text-anchor="middle">%s</text>`, middle, y+barHeight/2+1.1, html.EscapeString(text))
		return
	}
	if k > 0 && marks[k-1] == marks[k] {
		return
	}
	n := 1
	for k+n < len(marks) && marks[k+n] == marks[k] {
		n++
	}
	if n > 1 {
		text = fmt.Sprintf("%d × %s", n, text)
	}
	fmt.Fprintf(s.b, `<text transform="translate(%.2f %.2f) rotate(20)" font-size="2.4">%s</text>`, middle, y+barHeight+2.4, html.EscapeString(text))
}
