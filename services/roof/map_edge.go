package roof

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// line is how an edge's state is drawn: width and dashes, told apart without colour.
func line(s State) (width float64, dashes string) {
	switch s {
	case Open:
		return 7, "16 10"
	case DriedIn:
		return 6, "18 6 4 6"
	case WeatherTight:
		return 6, ""
	case Covered:
		return 7, "3 6"
	}
	return 2.2, ""
}

func (d *drawing) edgeLine(e *Edge) {
	width, dashes := line(d.state.Edges[e.Mark].State)
	x1, y1 := d.at(e.From)
	x2, y2 := d.at(e.To)
	end := d.link(string(e.Mark))
	d.printf(`<g><title>%s</title>%s</g>%s`+"\n", escape(d.sayEdge(e)), stroke(x1, y1, x2, y2, width, dashes), end)
}

func stroke(x1, y1, x2, y2, width float64, dashes string) string {
	return `<line x1="` + number(x1) + `" y1="` + number(y1) + `" x2="` + number(x2) + `" y2="` + number(y2) + `" stroke="#000" stroke-width="` + number(width) + `"` + dashed(dashes) + "/>"
}

// isBusy tells whether there is more to say of an edge than its length: a thin line says
// untouched by itself.
func (d *drawing) isBusy(e *Edge) bool {
	note := d.state.Edges[e.Mark]
	return note.Label != "" || note.State != "" && note.State != Untouched
}

// edgeWords writes mark, true length and state along the edge: outside of a free one,
// beside a shared one; smaller, elsewhere along it or less where there is no room for all.
// What is going on is written even where it runs into other words.
func (d *drawing) edgeWords(e *Edge) {
	x1, y1 := d.at(e.From)
	x2, y2 := d.at(e.To)
	room := math.Hypot(x2-x1, y2-y1)
	note := d.state.Edges[e.Mark]
	lines := [][]string{{string(e.Mark) + " " + tape(e.Length)}, {string(e.Mark)}}
	if d.isBusy(e) {
		second := strings.TrimSpace(string(note.State) + " " + note.Label)
		lines = [][]string{{lines[0][0], second}, {string(e.Mark), second}}
	}
	angle := upright(math.Atan2(y2-y1, x2-x1) * 180 / math.Pi)
	for _, clear := range [2]bool{true, false} {
		for _, said := range lines {
			for _, size := range [3]float64{textSize, smallText, smallText * 0.8} {
				for _, t := range [5]float64{0.5, 0.35, 0.65, 0.22, 0.78} {
					for _, above := range d.sides(e, angle) {
						x, y := x1+(x2-x1)*t, y1+(y2-y1)*t
						labels := beside(x, y, angle, size, said, above)
						long := 0.0
						for _, l := range labels {
							long = max(long, l.half)
						}
						over := max(math.Abs(t-0.5)*room+long-room/2, 0) // beyond the edge's end
						if over > 0 && (t != 0.5 || 2*long > room+size) || !d.isFree(labels...) || clear && slices.ContainsFunc(labels, func(l label) bool { return d.crossesEdge(l, e.Mark) }) {
							continue
						}
						d.edgeBlock(e, x, y, angle, size, said, above, labels)
						return
					}
				}
			}
		}
	}
	if d.isBusy(e) {
		x, y := (x1+x2)/2, (y1+y2)/2
		above := d.sides(e, angle)[0]
		d.edgeBlock(e, x, y, angle, smallText, lines[1], above, beside(x, y, angle, smallText, lines[1], above))
	}
}

// sides are the sides of an edge on which its words may stand, above first or below: of a
// free edge outside first.
func (d *drawing) sides(e *Edge, angle float64) []bool {
	if !e.IsFree() {
		return []bool{true, false}
	}
	sin, cos := math.Sincos(e.FacingDeg * math.Pi / 180)
	up := math.Sin(angle*math.Pi/180)*sin + math.Cos(angle*math.Pi/180)*cos // of the text's own up
	return []bool{up > 0, up <= 0}
}

// down is how far the line k of n lines beside an edge stands below it.
func down(k, n int, size float64, above bool) float64 {
	if above {
		return -size*0.45 - size*1.1*float64(n-1-k)
	}
	return size*1.05 + size*1.1*float64(k)
}

func beside(x, y, angle, size float64, lines []string, above bool) []label {
	sin, cos := math.Sincos(angle * math.Pi / 180)
	var out []label
	for k, l := range lines {
		off := down(k, len(lines), size, above)
		out = append(out, labelOf(x-sin*off, y+cos*off, angle, size, l))
	}
	return out
}

func (d *drawing) edgeBlock(e *Edge, x, y, angle, size float64, lines []string, above bool, room []label) {
	d.take(room...)
	end := d.link(string(e.Mark))
	for k, l := range lines {
		d.wordsAt(x, y, angle, down(k, len(lines), size, above), size, l)
	}
	d.printf("%s\n", end)
}

// wordsAt writes words turned round x, y and shifted down by that much.
func (d *drawing) wordsAt(x, y, angle, down, size float64, s string) {
	sin, cos := math.Sincos(angle * math.Pi / 180)
	d.words(x-sin*down, y+cos*down, angle, size, s)
}

// words writes one line of text on its middle, with a white rim so that lines under
// it do not spoil it.
func (d *drawing) words(x, y, angle, size float64, s string) {
	turn := ""
	if math.Abs(angle) > 0.05 {
		turn = ` transform="rotate(` + number(angle) + " " + number(x) + " " + number(y) + `)"`
	}
	d.printf(`<text x="%s" y="%s" font-size="%s" text-anchor="middle" stroke="#fff" stroke-width="4" paint-order="stroke"%s>%s</text>`,
		number(x), number(y), number(size), turn, escape(s))
}

// number prints a coordinate to a tenth of a unit.
func number(v float64) string {
	v = math.Round(v*10) / 10
	return strconv.FormatFloat(v+0, 'f', -1, 64)
}
