package roof

import (
	"cmp"
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

// plane draws a plane's outline and hatch.
func (d *drawing) plane(p *Plane) {
	fill := "#fff"
	if h := hatch(d.state.Planes[p.Mark].State); h != "" {
		fill = "url(#" + escape(d.id) + "-" + h + ")"
	}
	end := d.link(string(p.Mark))
	d.printf(`<path d="%s" fill="%s" fill-rule="evenodd" stroke="#000" stroke-width="1"><title>%s</title></path>%s`+"\n",
		d.path(p.rings()...), fill, escape("Plane "+d.sayPlane(p)), end)
}

// rings are the plane's outline and its openings.
func (p *Plane) rings() [][]Point {
	rings := [][]Point{p.Outline}
	for i := range p.Openings {
		rings = append(rings, p.Openings[i].Outline)
	}
	return rings
}

// strip draws a panel.
func (d *drawing) strip(s Strip) {
	if len(s.Outline) < 3 {
		return
	}
	d.printf(`<path d="%s" fill="none" stroke="#000" stroke-width="0.6"><title>%s</title></path>`+"\n", d.path(s.Outline), escape(s.Mark))
}

// stripWords writes the panels' marks along them: of each plane the first and the last, then
// as many of the others as have room.
func (d *drawing) stripWords() {
	var rest []Strip
	for i, s := range d.state.Panels {
		first := i == 0 || plane(d.state.Panels[i-1].Mark) != plane(s.Mark)
		last := i+1 == len(d.state.Panels) || plane(d.state.Panels[i+1].Mark) != plane(s.Mark)
		if first || last {
			d.stripMark(s)
		} else {
			rest = append(rest, s)
		}
	}
	for _, s := range rest {
		d.stripMark(s)
	}
}

// plane is the plane's part of a panel's mark.
func plane(mark string) string {
	if i := strings.LastIndexByte(mark, '-'); i >= 0 {
		return mark[:i]
	}
	return mark
}

// stripMark writes a panel's mark along its longer direction where there is room for it.
func (d *drawing) stripMark(s Strip) {
	if len(s.Outline) < 3 {
		return
	}
	const tiny = 11.0
	from, to := longest(s.Outline)
	x1, y1 := d.at(from)
	x2, y2 := d.at(to)
	angle := upright(math.Atan2(y2-y1, x2-x1) * 180 / math.Pi)
	var mx, my float64
	for _, p := range s.Outline {
		x, y := d.at(p)
		mx, my = mx+x/float64(len(s.Outline)), my+y/float64(len(s.Outline))
	}
	for _, t := range [5]float64{0, -0.25, 0.25, -0.38, 0.38} {
		x, y := mx+(x2-x1)*t, my+(y2-y1)*t
		sin, cos := math.Sincos(angle * math.Pi / 180)
		x, y = x-sin*0.35*tiny, y+cos*0.35*tiny // the middle of the words on the middle of the strip
		l := labelOf(x, y, angle, tiny, s.Mark)
		if l.half*2 > math.Hypot(x2-x1, y2-y1) || !d.isInside(l, [][]Point{s.Outline}) || !d.isFree(l) {
			continue
		}
		d.take(l)
		d.words(x, y, angle, tiny, s.Mark)
		return
	}
}

// longest is the longest side of a ring.
func longest(ring []Point) (from, to Point) {
	for i, a := range ring {
		if b := ring[(i+1)%len(ring)]; run(a, b) > run(from, to) {
			from, to = a, b
		}
	}
	return from, to
}

// upright turns an angle in degrees so that words at it are not upside down.
func upright(angle float64) float64 {
	if angle > 90 || angle <= -90 {
		return math.Mod(angle+360+180, 360)
	}
	return angle
}

// planeWords writes mark, pitch and state where there is room for them on the plane, with
// the arrow of its fall: beside the words or under them, all of it or, where that is too
// much, less.
func (d *drawing) planeWords(p *Plane) {
	note := d.state.Planes[p.Mark]
	full := []string{string(p.Mark) + " " + pitchWords(p)}
	for _, more := range []string{string(note.State), note.Label} {
		if more != "" {
			full = append(full, more)
		}
	}
	rings := p.rings()
	for _, try := range []struct {
		lines []string
		size  float64
		under bool
	}{
		{full, textSize, false}, {full, textSize, true}, {full, smallText, false}, {full, smallText, true},
		{full[:1], smallText, true}, {[]string{string(p.Mark)}, smallText, false}, {[]string{string(p.Mark)}, smallText * 0.8, true},
	} {
		for _, at := range roomy(rings) {
			x, y := d.at(at)
			if d.block(p, x, y, try.size, try.lines, try.under, rings) {
				return
			}
		}
	}
	// No room for all: the mark alone, if nothing is in its way.
	x, y := d.at(roomy(rings)[0])
	if l := labelOf(x, y, 0, smallText*0.8, string(p.Mark)); d.isFree(l) {
		d.take(l)
		end := d.link(string(p.Mark))
		d.words(x, y, 0, smallText*0.8, string(p.Mark))
		d.printf("%s\n", end)
	}
}

// block writes lines round x, y and the arrow of the fall beside or under them, if they have
// room on the plane.
func (d *drawing) block(p *Plane, x, y, size float64, lines []string, under bool, rings [][]Point) bool {
	longest := 0
	for _, l := range lines {
		longest = max(longest, len([]rune(l)))
	}
	high, half := size*1.1*float64(len(lines)-1), 0.28*size*float64(longest)
	arrow := label{x: x + half + size*1.1, y: y + high/2 - size*0.33, cos: 1, half: size * 0.9, halfUp: size * 0.9}
	if under {
		arrow.x, arrow.y = x, y+high+size*1.2
	}
	room := []label{arrow}
	for i, l := range lines {
		room = append(room, labelOf(x, y+size*1.1*float64(i), 0, size, l))
	}
	for _, l := range room {
		if !d.isInside(l, rings) || !d.isFree(l) {
			return false
		}
	}
	d.take(room...)
	end := d.link(string(p.Mark))
	for i, l := range lines {
		d.words(x, y+size*1.1*float64(i), 0, size, l)
	}
	d.printf("%s\n", end)
	d.arrow(arrow.x, arrow.y, p.dx, -p.dy, size*1.6)
	return true
}

// pitchWords is the pitch in twelfths, to a hundredth.
func pitchWords(p *Plane) string {
	return strconv.FormatFloat(math.Round(1200*p.Pitch.Slope())/100, 'f', -1, 64) + "/12"
}

// arrow draws an arrow of that length round x, y, in the drawing's own directions.
func (d *drawing) arrow(x, y, dx, dy, length float64) {
	ax, ay, bx, by := x-dx*length/2, y-dy*length/2, x+dx*length/2, y+dy*length/2
	d.printf(`<path d="M%s %sL%s %sM%s %sL%s %sL%s %s" fill="none" stroke="#000" stroke-width="2.5"/>`+"\n",
		number(ax), number(ay), number(bx), number(by),
		number(bx-(dx+dy*0.6)*length*0.3), number(by-(dy-dx*0.6)*length*0.3), number(bx), number(by),
		number(bx-(dx-dy*0.6)*length*0.3), number(by-(dy+dx*0.6)*length*0.3))
}

// roomy are places inside the rings, those first that have most room from west to east;
// room up and down counts a little too.
func roomy(rings [][]Point) []Point {
	type place struct {
		at   Point
		room float64
	}
	b := boxOf(rings[0])
	var all []place
	const tries = 24
	for i := 1; i < tries; i++ {
		y := b.low.Y + (b.high.Y-b.low.Y)/tries*quantity.Length(i)
		favour := 1 - 0.5*math.Abs(float64(2*i-tries))/tries
		xs := crossings(rings, y)
		for j := 0; j+1 < len(xs); j += 2 {
			wide := float64(xs[j+1] - xs[j])
			for _, t := range [3]quantity.Length{2, 1, 3} { // quarters of the way
				all = append(all, place{Point{xs[j] + (xs[j+1]-xs[j])/4*t, y}, wide * favour * (1 - 0.3*math.Abs(float64(t-2)))})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b place) int { return cmp.Compare(b.room, a.room) })
	out := []Point{}
	for _, p := range all {
		out = append(out, p.at)
	}
	if len(out) == 0 {
		out = append(out, rings[0][0])
	}
	return out
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
