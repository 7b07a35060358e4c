package cutsheet

import (
	"fmt"
	"html"
	"strings"

	"bydark/services/cutplan"
)

// A strip is as wide as a phone, in units of about a pixel there, with half a dozen pieces
// on a row, so that the numbers of its pieces can be read in the sun.
const (
	stripWidth  = 400
	stripHeight = 40
	stripPieces = 6
)

// Strip draws one bar of a plan, numbered from nought, as an SVG for a screen: its pieces to
// scale in the order of cutting, each with its number, and dashed what is left over. A bar of
// many pieces goes on over several rows.
func Strip(q *cutplan.Request, a *cutplan.Answer, n int) string {
	b := bars{q: q, pieces: map[string]cutplan.Piece{}}
	for _, p := range q.Pieces {
		b.pieces[p.Name(q.Plain)] = p
	}
	bar := &a.Bars[n]
	sum, longest := int64(0), int64(1)
	for _, mark := range bar.Pieces {
		sum, longest = sum+b.pieces[mark].Length, max(longest, b.pieces[mark].Length)
	}
	b.span = min(bar.StockLength.N, max(longest+q.Kerf, sum/int64(max(len(bar.Pieces), 1))*stripPieces))
	rows := b.rows(bar)
	var out strings.Builder
	label := fmt.Sprintf("Bar %d, %s, %d pieces", n+1, bar.StockLength, len(bar.Pieces))
	fmt.Fprintf(&out, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="%s">`, stripWidth+2, len(rows)*(stripHeight+6), html.EscapeString(label))
	for k, row := range rows {
		top := float64(k*(stripHeight+6) + 1)
		from := row[0].at
		x := func(at int64) float64 { return 1 + float64(at-from)*stripWidth/float64(b.span) }
		for _, p := range row {
			left, right, low := x(p.at), x(p.at+p.Length), top+stripHeight
			lift := func(run int64) float64 { return float64(max(0, run)) * stripWidth / float64(b.span) }
			fmt.Fprintf(&out, `<polygon points="%.1f,%.1f %.1f,%.1f %.1f,%.1f %.1f,%.1f" fill="#fff" stroke="#000" stroke-width="2"/>`,
				left+lift(-p.LowRun), top, right-lift(p.HighRun), top, right-lift(-p.HighRun), low, left+lift(p.LowRun), low)
			if number := fmt.Sprint(p.number); float64(len(number))*12 < right-left {
				fmt.Fprintf(&out, `<text x="%.1f" y="%.1f" font-size="20" font-family="sans-serif" font-weight="700" text-anchor="middle">%s</text>`, (left+right)/2, top+27, number)
			}
		}
		end := row[len(row)-1].at + row[len(row)-1].Length
		if stop := min(bar.StockLength.N, from+b.span); k == len(rows)-1 && stop > end {
			fmt.Fprintf(&out, `<rect x="%.1f" y="%.1f" width="%.1f" height="%d" fill="none" stroke="#000" stroke-dasharray="4 4"/>`, x(end), top, x(stop)-x(end), stripHeight)
		}
	}
	out.WriteString("</svg>")
	return out.String()
}
