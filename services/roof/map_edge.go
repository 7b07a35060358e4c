package roof

import (
	"math"
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
	s := `<line x1="` + number(x1) + `" y1="` + number(y1) + `" x2="` + number(x2) + `" y2="` + number(y2) + `" stroke="#000" stroke-width="` + number(width) + `"`
	if dashes != "" {
		s += ` stroke-dasharray="` + dashes + `"`
	}
	return s + "/>"
}

// edgeWords writes mark, true length and state along the edge: outside of a free one,
// across a shared one; less where there is no room for all.
func (d *drawing) edgeWords(e *Edge) {
	x1, y1 := d.at(e.From)
	x2, y2 := d.at(e.To)
	room := math.Hypot(x2-x1, y2-y1)
	note := d.state.Edges[e.Mark]
	size := textSize
	first := string(e.Mark) + " " + tape(e.Length)
	second := strings.TrimSpace(string(note.State) + " " + note.Label)
	if note.State == Untouched && note.Label == "" {
		second = "" // the thin line says it; words for what is going on
	}
	if fits := room / (0.55 * float64(longest([]string{first, second}))); fits < size {
		size = max(smallText, fits)
	}
	if room < 0.55*size*float64(len(first)) {
		first = string(e.Mark)
	}
	if quiet := note.State == "" || note.State == Untouched; quiet && room < 0.5*size*float64(len(first)) || room < size {
		return // no room; the title and the list beside the map have it
	}
	angle := math.Atan2(y2-y1, x2-x1) * 180 / math.Pi
	if angle > 90 || angle <= -90 {
		angle = math.Mod(angle+360+180, 360)
	}
	x, y := (x1+x2)/2, (y1+y2)/2
	above, below := -size*0.45, size*1.05
	end := d.link(string(e.Mark))
	if e.IsFree() {
		// Outside the roof, one line over the other.
		sin, cos := math.Sincos(e.FacingDeg * math.Pi / 180)
		up := math.Sin(angle*math.Pi/180)*sin + math.Cos(angle*math.Pi/180)*cos // of the text's own up
		if up > 0 {
			above, below = -size*1.55, -size*0.45
			if second == "" {
				above = -size * 0.45
			}
		} else {
			above, below = size*1.05, size*2.1
		}
	}
	d.wordsAt(x, y, angle, above, size, first)
	if second != "" {
		d.wordsAt(x, y, angle, below, size, second)
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
