package cutsheet

import (
	"fmt"
	"html"
	"strings"
)

// SVG writes the pages one below the other.
func SVG(title string, pages []Page) string {
	var b strings.Builder
	height := pageHeight * float64(len(pages))
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%gmm" height="%gmm" viewBox="0 0 %g %g" role="img" font-family="sans-serif"><title>%s</title>`,
		pageWidth, height, pageWidth, height, html.EscapeString(title))
	for i := range pages {
		fmt.Fprintf(&b, `<g transform="translate(0 %g)"><path fill="#fff" d="M0 0h%gv%gH0z"/>`, pageHeight*float64(i), pageWidth, pageHeight)
		pages[i].svg(&b)
		b.WriteString("</g>")
	}
	b.WriteString("</svg>\n")
	return b.String()
}

func (p *Page) svg(b *strings.Builder) {
	b.WriteString(`<path fill="none" stroke="#000" stroke-width=".2" d="`)
	for _, l := range p.lines {
		fmt.Fprintf(b, "M%.2f %.2fL%.2f %.2f", l.a.x, l.a.y, l.b.x, l.b.y)
	}
	b.WriteString(`"/><path fill="none" stroke="#000" stroke-width=".3" d="`)
	for _, r := range p.frames {
		fmt.Fprintf(b, "M%.2f %.2fh%.2fv%.2fh%.2fz", r.x, r.y, r.w, r.h, -r.w)
	}
	b.WriteString(`"/>`)
	for _, ps := range p.polygons {
		b.WriteString(`<path fill="#fff" stroke="#000" stroke-width=".4" d="`)
		for k, q := range ps {
			fmt.Fprintf(b, "%c%.2f %.2f", "ML"[min(k, 1)], q.x, q.y)
		}
		b.WriteString(`Z"/>`)
	}
	if len(p.solids) > 0 {
		b.WriteString(`<path shape-rendering="crispEdges" d="`)
		for _, r := range p.solids {
			fmt.Fprintf(b, "M%.3f %.3fh%.3fv%.3fh%.3fz", r.x, r.y, r.w, r.h, -r.w)
		}
		b.WriteString(`"/>`)
	}
	for _, t := range p.texts {
		fmt.Fprintf(b, `<text x="%.2f" y="%.2f" font-size="%g"`, t.x, t.y, t.size)
		if t.bold {
			b.WriteString(` font-weight="bold"`)
		}
		switch {
		case t.middle:
			b.WriteString(` text-anchor="middle"`)
		case t.end:
			b.WriteString(` text-anchor="end"`)
		}
		fmt.Fprintf(b, ">%s</text>", html.EscapeString(t.s))
	}
}
