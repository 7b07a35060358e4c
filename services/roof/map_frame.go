package roof

import (
	"bydark/events/quantity"
)

// shown lists the states that the map uses, in the order of the work.
func (d *drawing) shown() []State {
	used := make(map[State]bool)
	for _, n := range d.state.Edges {
		used[n.State] = true
	}
	for _, n := range d.state.Planes {
		used[n.State] = true
	}
	var out []State
	for _, s := range []State{Untouched, Open, DriedIn, Covered, WeatherTight} {
		if used[s] {
			out = append(out, s)
		}
	}
	return out
}

const legendRow = 40.0

func (d *drawing) frameHeight() float64 { return legendRow * float64((len(d.shown())+1)/2+2) }

// frame draws the scale, the north arrow and what the lines mean.
func (d *drawing) frame() {
	top := d.height - d.frameHeight()
	d.arrow(d.width-45, top+legendRow*0.8, 0, -1, 44)
	d.words(d.width-45, top+legendRow*0.8+46, 0, textSize, "N")
	d.scaleBar(mapMargin, top+legendRow*0.8)
	for i, s := range d.shown() {
		x, y := mapMargin+float64(i%2)*(d.width-2*mapMargin)/2, top+legendRow*(2+float64(i/2))
		width, dashes := line(s)
		fill := "#fff"
		if h := hatch(s); h != "" {
			fill = "url(#" + escape(d.id) + "-" + h + ")"
		}
		d.printf(`<rect x="%s" y="%s" width="30" height="26" fill="%s" stroke="#000"/>`, number(x), number(y-18), fill)
		d.b.WriteString(stroke(x+42, y-5, x+122, y-5, width, dashes))
		d.printf(`<text x="%s" y="%s">%s</text>`+"\n", number(x+134), number(y+3), string(s))
	}
}

// scaleBar draws a bar of a round number of feet, a quarter of the width at most.
func (d *drawing) scaleBar(x, y float64) {
	feet := quantity.Length(1)
	for _, n := range []quantity.Length{2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000} {
		if float64(n*quantity.Foot)*d.scale < d.width/4 {
			feet = n
		}
	}
	long := float64(feet*quantity.Foot) * d.scale
	d.printf(`<path d="M%s %sv-10h%sv10" fill="none" stroke="#000" stroke-width="2.5"/>`, number(x), number(y), number(long))
	d.printf(`<text x="%s" y="%s">%s</text>`+"\n", number(x+long+12), number(y+4), escape((feet * quantity.Foot).String()))
}
