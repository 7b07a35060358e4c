package roof

import (
	"fmt"
	"math"
	"net/url"
	"strings"

	"bydark/events/quantity"
)

// State is how far a plane or an edge has come, in the words of the assembly.
type State string

// The states that the map draws each with a line of its own. Any other word is shown,
// with the line of Untouched.
const (
	Untouched    State = "untouched"
	Open         State = "open"
	DriedIn      State = "dried-in"
	WeatherTight State = "weather-tight"
	Covered      State = "covered"
)

// MapState is what a map shows beside the geometry. Its zero value shows the geometry
// alone.
type MapState struct {
	// ID starts every id in the drawing, so that two maps can stand on one page. It is
	// letters, digits and dashes; empty means "roof".
	ID string
	// Edges and Planes say what is known of each mark; openings and pipes stand with the
	// edges.
	Edges  map[EdgeMark]Note
	Planes map[PlaneMark]Note
	// Panels are drawn as strips on their planes.
	Panels []Strip
	// Link, when not empty, makes each edge and plane a link to Link plus its mark.
	Link string
}

// Note is the state of one plane or edge, and a few words to stand beside it.
type Note struct {
	State State
	Label string
}

// Strip is a panel, in plan.
type Strip struct {
	Mark    string
	Outline []Point
}

// Map draws the roof as an SVG document, north up: planes with pitch and fall, edges
// with marks and true lengths, states by line and word and not by colour, a north
// arrow and a scale. It is black on white and 840 units wide, which makes its text
// readable on a phone; a roof of many edges is drawn wider, up to three times, to be looked
// at closer. Words that find no room are left to the titles. All text is escaped; title and desc say it all again for who
// cannot see it. The same roof and state give the same bytes.
func Map(r *Roof, s MapState) string {
	d := drawing{roof: r, state: s, id: s.ID}
	if d.id == "" {
		d.id = "roof"
	}
	d.fit()
	d.open()
	for i := range r.Planes {
		d.plane(&r.Planes[i])
	}
	for _, p := range s.Panels {
		d.strip(p)
	}
	for i := range r.Planes {
		d.openings(&r.Planes[i])
	}
	for i := range r.Edges {
		d.edgeLine(&r.Edges[i])
	}
	// Words find their room in the order of their weight: what is going on, the planes, the
	// other edges, what goes through, and where there is still room the panels.
	for i := range r.Edges {
		if d.isBusy(&r.Edges[i]) {
			d.edgeWords(&r.Edges[i])
		}
	}
	for i := range r.Planes {
		d.planeWords(&r.Planes[i])
	}
	for i := range r.Edges {
		if !d.isBusy(&r.Edges[i]) {
			d.edgeWords(&r.Edges[i])
		}
	}
	for i := range r.Planes {
		d.openingWords(&r.Planes[i])
	}
	d.stripWords()
	d.frame()
	d.b.WriteString("</svg>\n")
	return d.b.String()
}

// The drawing's measures, in its own units.
const (
	mapWidth  = 840.0
	mapMargin = 70.0
	mapTall   = 1000.0 // the roof itself at most
	textSize  = 24.0
	smallText = 17.0
)

type drawing struct {
	roof   *Roof
	state  MapState
	id     string
	b      strings.Builder
	box    box
	scale  float64 // units a nanometre
	left   float64
	width  float64
	height float64
	taken  []label // where words stand
}

// fit finds the scale at which the roof fills the width, or the height.
func (d *drawing) fit() {
	var all []Point
	for i := range d.roof.Planes {
		all = append(all, d.roof.Planes[i].Outline...)
	}
	d.box = boxOf(all)
	w, h := float64(d.box.high.X-d.box.low.X), float64(d.box.high.Y-d.box.low.Y)
	const plain = 20 // edges that 840 units have room for
	wider := min(max(math.Sqrt(float64(len(d.roof.Edges))/plain), 1), 3)
	d.width = math.Round(mapWidth * wider)
	d.scale = min((d.width-2*mapMargin)/w, mapTall*wider/h)
	d.left = (d.width - w*d.scale) / 2
	d.height = h*d.scale + 2*mapMargin + d.frameHeight()
}

// at gives a place in the drawing.
func (d *drawing) at(p Point) (x, y float64) {
	return d.left + float64(p.X-d.box.low.X)*d.scale, mapMargin + float64(d.box.high.Y-p.Y)*d.scale
}

// twice is a place of the drawing in plan, in halves, as inside takes it.
func (d *drawing) twice(x, y float64) Point {
	return Point{
		2*d.box.low.X + quantity.Length(2*(x-d.left)/d.scale),
		2*d.box.high.Y - quantity.Length(2*(y-mapMargin)/d.scale),
	}
}

func (d *drawing) printf(format string, args ...any) { fmt.Fprintf(&d.b, format, args...) }

func (d *drawing) open() {
	d.printf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %.0f" width="100%%" role="img" aria-labelledby="%s-title %s-desc" font-family="sans-serif" font-size="%g" fill="#000">`+"\n",
		d.width, d.height, escape(d.id), escape(d.id), textSize)
	d.printf("<title id=\"%s-title\">Roof map: %s</title>\n<desc id=\"%s-desc\">%s</desc>\n", escape(d.id), escape(d.roof.Name), escape(d.id), escape(d.describe()))
	d.printf("<defs>%s</defs>\n", d.hatches())
	d.printf("<rect width=\"%g\" height=\"%.0f\" fill=\"#fff\"/>\n", d.width, d.height)
}

// describe says in words what the map shows.
func (d *drawing) describe() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d planes, %.0f square feet. ", len(d.roof.Planes), d.roof.Area().SquareFeet())
	for i := range d.roof.Planes {
		p := &d.roof.Planes[i]
		fmt.Fprintf(&b, "Plane %s. ", d.sayPlane(p))
	}
	for i := range d.roof.Edges {
		fmt.Fprintf(&b, "%s. ", d.sayEdge(&d.roof.Edges[i]))
	}
	for i := range d.roof.Planes {
		p := &d.roof.Planes[i]
		for k := range p.Openings {
			fmt.Fprintf(&b, "%s. ", d.sayOpening(p.Openings[k].Mark, string(p.Openings[k].Kind)))
		}
		for _, pipe := range p.Pipes {
			fmt.Fprintf(&b, "%s. ", d.sayOpening(pipe.Mark, "pipe of "+pipe.Diameter.String()))
		}
	}
	return strings.TrimSpace(b.String())
}

func (d *drawing) sayPlane(p *Plane) string {
	return join(fmt.Sprintf("%s: %s falling %s", p.Mark, pitchWords(p), quarter(p.FallsDeg)), d.state.Planes[p.Mark])
}

func (d *drawing) sayEdge(e *Edge) string {
	return join(fmt.Sprintf("%s: %s", e.Mark, tape(e.Length)), d.state.Edges[e.Mark])
}

func (d *drawing) sayOpening(mark, what string) string {
	return join(mark+": "+what, d.state.Edges[EdgeMark(mark)])
}

func join(s string, n Note) string {
	for _, more := range []string{string(n.State), n.Label} {
		if more != "" {
			s += ", " + more
		}
	}
	return s
}

// tape is a length as read off a tape, to the sixteenth.
func tape(l quantity.Length) string { return l.Nearest(16) }

// quarter names the nearest of eight quarters.
func quarter(deg float64) string {
	names := []string{"north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest"}
	return names[int((deg+22.5)/45)%len(names)]
}

// link opens a link for a mark and gives what closes it.
func (d *drawing) link(mark string) string {
	if d.state.Link == "" {
		return ""
	}
	d.printf(`<a href="%s">`, escape(d.state.Link+url.PathEscape(mark)))
	return "</a>"
}

var xmlText = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&#34;", "'", "&#39;")

// escape makes s safe as XML text and in attributes: what XML cannot hold at all
// becomes the replacement character.
func escape(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' || r == 0x7f || r == 0xfffe || r == 0xffff {
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return xmlText.Replace(s)
}
