package cutsheet

import "image"

// Page is one page of shapes, in millimetres from its upper left corner, black on white.
type Page struct {
	lines    []line
	polygons [][]point // outlined, white inside, over the lines before
	frames   []rect
	solids   []rect
	texts    []text
}

type point struct{ x, y float64 }

type line struct{ a, b point }

type rect struct{ x, y, w, h float64 }

type text struct {
	x, y, size  float64
	s           string
	bold        bool
	middle, end bool // x is the middle, or the end
}

func (p *Page) text(t text) {
	if t.s != "" {
		p.texts = append(p.texts, t)
	}
}

func (p *Page) polygon(ps []point)       { p.polygons = append(p.polygons, ps) }
func (p *Page) frame(x, y, w, h float64) { p.frames = append(p.frames, rect{x, y, w, h}) }
func (p *Page) solid(x, y, w, h float64) { p.solids = append(p.solids, rect{x, y, w, h}) }
func (p *Page) box(x, y, size float64)   { p.frame(x, y, size, size) }

// hatched fills a rectangle with lines at 45 degrees: what is left over.
func (p *Page) hatched(x, y, w, h float64) {
	const apart = 2.5
	for d := apart; d < w+h; d += apart {
		a, b := point{x + d, y}, point{x, y + d}
		if d > w {
			a = point{x + w, y + d - w}
		}
		if d > h {
			b = point{x + d - h, y + h}
		}
		p.lines = append(p.lines, line{a, b})
	}
}

// dark tells whether a module of a code is black.
func dark(c image.Image, x, y int) bool {
	r, _, _, _ := c.At(x, y).RGBA()
	return r < 0x8000
}
