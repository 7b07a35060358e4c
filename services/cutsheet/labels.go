package cutsheet

import (
	"fmt"

	"github.com/boombuler/barcode/qr"

	"bydark/services/cutplan"
)

// Labels stand three in a row and six in a column.
const (
	labelColumns = 3
	labelHeight  = 29.0
	labelWidth   = (right - margin) / labelColumns
	codeSize     = 23.0
)

// labels prints one label for each piece of a section, in the order of cutting.
func (w *writer) labels(s *Section) error {
	if s.Answer == nil {
		return nil
	}
	length := map[string]int64{}
	for _, p := range s.Request.Pieces {
		length[p.Name(s.Request.Plain)] = p.Length
	}
	column := 0
	w.y = pageHeight // labels begin on a page of their own
	for n, bar := range s.Answer.Bars {
		for _, mark := range bar.Pieces {
			if column == 0 && w.room(labelHeight) {
				w.text(margin, w.y+3, 3.2, "Labels: "+s.Title)
				w.y += 5
			}
			x := margin + float64(column)*labelWidth
			l := s.Labels(mark)
			head := cutplan.Measure{N: length[mark], Plain: s.Request.Plain}.String()
			if err := w.label(x, mark, head, fmt.Sprintf("bar %d", n+1), l); err != nil {
				return err
			}
			if column = (column + 1) % labelColumns; column == 0 {
				w.y += labelHeight
			}
		}
	}
	w.y = pageHeight
	return nil
}

func (w *writer) label(x float64, mark, length, bar string, l Label) error {
	p := w.page()
	p.frame(x, w.y, labelWidth, labelHeight)
	if err := p.code(x+2, w.y+3, codeSize, l.Link); err != nil {
		return fmt.Errorf("the code of piece %s: %w", mark, err)
	}
	left, width := x+codeSize+4, labelWidth-codeSize-5
	p.text(text{x: left, y: w.y + 6.5, size: 4.4, bold: true, s: fitted(mark, 4.2, width)})
	p.text(text{x: left, y: w.y + 12.5, size: 4.8, bold: true, s: fitted(length, 4.6, width)})
	y := w.y + 16.5
	for _, said := range append([]string{bar}, l.Lines...) {
		for _, line := range wrap(said, 2.5, width) {
			if y > w.y+labelHeight-1 {
				return nil
			}
			p.text(text{x: left, y: y, size: 2.5, s: line})
			y += 3
		}
	}
	return nil
}

// code draws a square two-dimensional code (ISO/IEC 18004) as black runs of modules, with
// level M of error correction: 15 % may be scratched off.
func (p *Page) code(x, y, size float64, content string) error {
	c, err := qr.Encode(content, qr.M, qr.Auto)
	if err != nil {
		return err
	}
	n := c.Bounds().Dx()
	module := size / float64(n)
	for row := range n {
		for col := 0; col < n; col++ {
			start := col
			for col < n && dark(c, col, row) {
				col++
			}
			if col > start {
				p.solid(x+float64(start)*module, y+float64(row)*module, float64(col-start)*module, module)
			}
		}
	}
	return nil
}
