package roof

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"bydark/events/quantity"
)

// hatch tells the pattern of a plane's state; none where nothing has been done, and
// none where nothing is left to do.
func hatch(s State) string {
	switch s {
	case Open, DriedIn, Covered:
		return string(s)
	}
	return ""
}

// hatches are the patterns: strokes for an open deck, dots for underlayment, a grid
// for a cover.
func (d *drawing) hatches() string {
	var b strings.Builder
	for _, p := range []struct {
		state State
		shape string
	}{
		{Open, `<path d="M0 14L14 0M-3 3L3 -3M11 17L17 11" stroke="#000" stroke-width="1.5"/>`},
		{DriedIn, `<circle cx="7" cy="7" r="1.6"/>`},
		{Covered, `<path d="M0 7H14M7 0V14" stroke="#000" stroke-width="0.8"/>`},
	} {
		b.WriteString(`<pattern id="` + escape(d.id) + "-" + string(p.state) + `" width="14" height="14" patternUnits="userSpaceOnUse">` + p.shape + `</pattern>`)
	}
	return b.String()
}

func (d *drawing) path(rings ...[]Point) string {
	var b strings.Builder
	for _, ring := range rings {
		for i, p := range ring {
			b.WriteByte("ML"[min(i, 1)])
			x, y := d.at(p)
			b.WriteString(number(x) + " " + number(y))
		}
		b.WriteByte('Z')
	}
	return b.String()
}

// plane draws a plane's outline and hatch, and its openings with a cross.
func (d *drawing) plane(p *Plane) {
	fill := "#fff"
	if h := hatch(d.state.Planes[p.Mark].State); h != "" {
		fill = "url(#" + escape(d.id) + "-" + h + ")"
	}
	end := d.link(string(p.Mark))
	rings := [][]Point{p.Outline}
	for i := range p.Openings {
		rings = append(rings, p.Openings[i].Outline)
	}
	d.printf(`<path d="%s" fill="%s" fill-rule="evenodd" stroke="#000" stroke-width="1"><title>%s</title></path>%s`+"\n",
		d.path(rings...), fill, escape("Plane "+d.sayPlane(p)), end)
	for i := range p.Openings {
		o := p.Openings[i].Outline
		d.printf(`<path d="%s" fill="none" stroke="#000" stroke-width="1"/>`+"\n", d.path(o))
		for j := range len(o) / 2 {
			d.printf(`<path d="%s" stroke="#000" stroke-width="0.7"/>`+"\n", strings.TrimSuffix(d.path([]Point{o[j], o[j+len(o)/2]}), "Z"))
		}
	}
}

// strip draws a panel, with its mark where it fits.
func (d *drawing) strip(s Strip) {
	if len(s.Outline) < 3 {
		return
	}
	d.printf(`<path d="%s" fill="none" stroke="#000" stroke-width="0.6"><title>%s</title></path>`+"\n", d.path(s.Outline), escape(s.Mark))
	at, wide := roomiest([][]Point{s.Outline})
	const tiny = 11.0
	if float64(wide)*d.scale > tiny*0.6*float64(len(s.Mark)) {
		x, y := d.at(at)
		d.words(x, y, 0, tiny, s.Mark)
	}
}

// planeWords writes mark, pitch and state where the plane is widest, and the arrow of
// its fall.
func (d *drawing) planeWords(p *Plane) {
	rings := [][]Point{p.Outline}
	for i := range p.Openings {
		rings = append(rings, p.Openings[i].Outline)
	}
	at, wide := roomiest(rings)
	x, y := d.at(at)
	size := textSize
	if float64(wide)*d.scale < textSize*7 {
		size = smallText
	}
	note := d.state.Planes[p.Mark]
	lines := []string{string(p.Mark) + " " + pitchWords(p)}
	if float64(wide)*d.scale < 0.5*size*float64(len(lines[0])) {
		lines[0] = string(p.Mark)
	}
	for _, more := range []string{string(note.State), note.Label} {
		if more != "" {
			lines = append(lines, more)
		}
	}
	end := d.link(string(p.Mark))
	for i, l := range lines {
		d.words(x, y+size*1.1*float64(i), 0, size, l)
	}
	d.printf("%s\n", end)
	// The arrow stands beside the words, or where that is too narrow under them, so that
	// it does not run through them.
	side := size*0.32*float64(longest(lines)) + size
	if float64(wide)*d.scale > 2*side+size*1.6 {
		d.arrow(x+side, y, p.dx, -p.dy, size*1.6)
	} else if float64(wide)*d.scale > 2*size {
		d.arrow(x, y+size*(1.1*float64(len(lines))+0.1), p.dx, -p.dy, size*1.6)
	}
}

// pitchWords is the pitch in twelfths, to a hundredth.
func pitchWords(p *Plane) string {
	return strconv.FormatFloat(math.Round(1200*p.Pitch.Slope())/100, 'f', -1, 64) + "/12"
}

func longest(lines []string) int {
	n := 0
	for _, l := range lines {
		n = max(n, len([]rune(l)))
	}
	return n
}

// arrow draws an arrow of that length round x, y, in the drawing's own directions.
func (d *drawing) arrow(x, y, dx, dy, length float64) {
	ax, ay, bx, by := x-dx*length/2, y-dy*length/2, x+dx*length/2, y+dy*length/2
	d.printf(`<path d="M%s %sL%s %sM%s %sL%s %sL%s %s" fill="none" stroke="#000" stroke-width="2.5"/>`+"\n",
		number(ax), number(ay), number(bx), number(by),
		number(bx-(dx+dy*0.6)*length*0.3), number(by-(dy-dx*0.6)*length*0.3), number(bx), number(by),
		number(bx-(dx-dy*0.6)*length*0.3), number(by-(dy+dx*0.6)*length*0.3))
}

// roomiest is a place inside the rings where there is most room from west to east,
// of a few heights tried.
func roomiest(rings [][]Point) (at Point, wide quantity.Length) {
	b := boxOf(rings[0])
	const tries = 12
	for i := 1; i < tries; i++ {
		y := b.low.Y + (b.high.Y-b.low.Y)/tries*quantity.Length(i)
		// Room up and down counts too: the middle heights come out a little ahead.
		favour := 1 - 0.5*math.Abs(float64(2*i-tries))/tries
		xs := crossings(rings, y)
		for j := 0; j+1 < len(xs); j += 2 {
			if room := quantity.Length(float64(xs[j+1]-xs[j]) * favour); room > wide {
				at, wide = Point{xs[j]/2 + xs[j+1]/2, y}, room
			}
		}
	}
	return at, wide
}

// crossings are the places, from west to east, where the rings cross a height.
func crossings(rings [][]Point, y quantity.Length) []quantity.Length {
	var xs []quantity.Length
	for _, ring := range rings {
		b := ring[len(ring)-1]
		for _, a := range ring {
			if (a.Y > y) != (b.Y > y) {
				xs = append(xs, between(a, b, float64(y-a.Y)/float64(b.Y-a.Y)).X)
			}
			b = a
		}
	}
	slices.Sort(xs)
	return xs
}
