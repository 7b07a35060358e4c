package cutsheet

import (
	"bytes"
	"fmt"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// typeface is the fonts' family name in the file; the letters themselves are in it.
const typeface = "go"

// points in a millimetre.
const points = 72 / 25.4

// PDF writes the pages as letter paper. made is when the file says that it was made: the
// same sheet and time give the same bytes.
func PDF(title string, pages []Page, made time.Time) ([]byte, error) {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: pageWidth, Ht: pageHeight}})
	f.SetCatalogSort(true)
	f.SetCreationDate(made.UTC())
	f.SetModificationDate(made.UTC())
	f.SetTitle(title, true)
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	f.AddUTF8FontFromBytes(typeface, "", goregular.TTF)
	f.AddUTF8FontFromBytes(typeface, "B", gobold.TTF)
	for i := range pages {
		f.AddPage()
		pages[i].pdf(f)
	}
	var out bytes.Buffer
	if err := f.Output(&out); err != nil {
		return nil, fmt.Errorf("write the sheet: %w", err)
	}
	return out.Bytes(), nil
}

func (p *Page) pdf(f *fpdf.Fpdf) {
	f.SetDrawColor(0, 0, 0)
	f.SetLineWidth(0.2)
	for _, l := range p.lines {
		f.Line(l.a.x, l.a.y, l.b.x, l.b.y)
	}
	f.SetLineWidth(0.3)
	for _, r := range p.frames {
		f.Rect(r.x, r.y, r.w, r.h, "D")
	}
	f.SetLineWidth(0.4)
	f.SetFillColor(255, 255, 255)
	for _, ps := range p.polygons {
		at := make([]fpdf.PointType, len(ps))
		for k, q := range ps {
			at[k] = fpdf.PointType{X: q.x, Y: q.y}
		}
		f.Polygon(at, "DF")
	}
	f.SetFillColor(0, 0, 0)
	for _, r := range p.solids {
		f.Rect(r.x, r.y, r.w, r.h, "F")
	}
	for _, t := range p.texts {
		style := ""
		if t.bold {
			style = "B"
		}
		f.SetFont(typeface, style, t.size*points)
		x := t.x
		switch {
		case t.middle:
			x -= f.GetStringWidth(t.s) / 2
		case t.end:
			x -= f.GetStringWidth(t.s)
		}
		f.Text(x, t.y, t.s)
	}
}
