package roof

import "strings"

// openings draws what goes through a plane over the panels: holes with a cross, their
// border in the line of their state, and pipes as rings, which are too small for dashes.
func (d *drawing) openings(p *Plane) {
	for i := range p.Openings {
		o := &p.Openings[i]
		if d.isFilled(o) {
			continue // a dormer's own planes are drawn there
		}
		width, dashes := line(d.state.Edges[EdgeMark(o.Mark)].State)
		end := d.link(o.Mark)
		d.takeBox(boxOf(o.Outline))
		d.printf(`<g><title>%s</title><path d="%s" fill="#fff" stroke="#000" stroke-width="%s"%s/>`,
			escape(d.sayOpening(o.Mark, string(o.Kind))), d.path(o.Outline), number(width), dashed(dashes))
		for j := range 2 {
			if len(o.Outline) != 4 {
				break // a cross through many corners is a tangle
			}
			cross := []Point{o.Outline[j], o.Outline[j+2]}
			d.printf(`<path d="%s" stroke="#000" stroke-width="0.7"/>`, strings.TrimSuffix(d.path(cross), "Z"))
		}
		d.printf("</g>%s\n", end)
	}
	for _, pipe := range p.Pipes {
		width, _ := line(d.state.Edges[EdgeMark(pipe.Mark)].State)
		x, y := d.at(pipe.At)
		end := d.link(pipe.Mark)
		r := d.radius(pipe)
		d.take(label{x: x, y: y, cos: 1, half: r, halfUp: r})
		d.printf(`<circle cx="%s" cy="%s" r="%s" fill="#fff" stroke="#000" stroke-width="%s"><title>%s</title></circle>%s`+"\n",
			number(x), number(y), number(r), number(min(width, 3)), escape(d.sayOpening(pipe.Mark, "pipe of "+pipe.Diameter.String())), end)
	}
}

// isFilled tells whether a plane lies in the opening.
func (d *drawing) isFilled(o *Opening) bool {
	for i := range d.roof.Planes {
		at := roomy(d.roof.Planes[i].rings())[0]
		if inside(Point{2 * at.X, 2 * at.Y}, [][]Point{o.Outline}) {
			return true
		}
	}
	return false
}

// takeBox keeps words out of a box in plan.
func (d *drawing) takeBox(b box) {
	x1, y1 := d.at(b.low)
	x2, y2 := d.at(b.high)
	d.take(label{x: (x1 + x2) / 2, y: (y1 + y2) / 2, cos: 1, half: (x2 - x1) / 2, halfUp: (y1 - y2) / 2})
}

func dashed(dashes string) string {
	if dashes == "" {
		return ""
	}
	return ` stroke-dasharray="` + dashes + `"`
}

// radius is how large a pipe is drawn: large enough to be seen.
func (d *drawing) radius(p Pipe) float64 { return max(float64(p.Diameter)/2*d.scale, 4) }

// openingWords writes what each opening is under or over it, with its number and state.
func (d *drawing) openingWords(p *Plane) {
	for i := range p.Openings {
		o := &p.Openings[i]
		if d.isFilled(o) {
			continue
		}
		b := boxOf(o.Outline)
		x, top := d.at(Point{b.low.X/2 + b.high.X/2, b.high.Y})
		_, bottom := d.at(b.low)
		d.openingMark(o.Mark, string(o.Kind), x, top, bottom)
	}
	for _, pipe := range p.Pipes {
		x, y := d.at(pipe.At)
		r := d.radius(pipe)
		d.openingMark(pipe.Mark, "", x, y-r, y+r)
	}
}

func (d *drawing) openingMark(mark, kind string, x, top, bottom float64) {
	_, short, _ := strings.Cut(mark, "/")
	said := strings.TrimSpace(short + " " + kind)
	if note := d.state.Edges[EdgeMark(mark)]; note.State != "" && note.State != Untouched {
		said += " " + string(note.State)
	}
	for _, size := range [2]float64{smallText, smallText * 0.8} {
		for _, y := range [4]float64{bottom + size*1.1, top - size*0.4, bottom + size*2.2, top - size*1.5} {
			for _, aside := range [3]float64{0, 0.5, -0.5} {
				l := labelOf(x, y, 0, size, said)
				l.x += aside * 2 * l.half
				if !d.isFree(l) {
					continue
				}
				d.take(l)
				end := d.link(mark)
				d.words(x+aside*2*l.half, y, 0, size, said)
				d.printf("%s\n", end)
				return
			}
		}
	}
}
