// Package cutsheet draws cut plans for whoever stands at the saw or shear: every bar to
// scale with the marks, lengths and tick boxes of its pieces, and a label for each piece.
// Pages are laid out once, as shapes; PDF and SVG write the same shapes.
//
// It is pure: the same sheet gives the same bytes.
package cutsheet

import (
	"fmt"
	"strings"

	"bydark/services/cutplan"
)

// Sheet is what is printed.
type Sheet struct {
	// Title stands on every page, Sub below it: the job, and as of when.
	Title, Sub string
	Sections   []Section
	// Foot stands at the end of every page.
	Foot string
}

// Section is one plan. Answer is the answer to Request.
type Section struct {
	Title   string
	Request cutplan.Request
	Answer  *cutplan.Answer
	// Labels says what a piece's label tells beside mark and length, and where its code
	// leads; nil: no labels.
	Labels func(mark string) Label
}

// Label is what one piece's label says.
type Label struct {
	// Lines stand under mark and length: its ends, its place.
	Lines []string
	// Link is what the code says: the address of the piece's page, or its mark.
	Link string
}

// The page is letter paper lying on its side, in millimetres.
const (
	pageWidth  = 279.4
	pageHeight = 215.9
	margin     = 12.0
	right      = pageWidth - margin
	bottom     = pageHeight - margin - 6
)

// Pages are the laid out pages, the plans' first, then the labels.
func (s *Sheet) Pages() ([]Page, error) {
	w := writer{sheet: s}
	for i := range s.Sections {
		w.section(&s.Sections[i])
	}
	for i := range s.Sections {
		if s.Sections[i].Labels != nil {
			if err := w.labels(&s.Sections[i]); err != nil {
				return nil, err
			}
		}
	}
	if len(w.pages) == 0 {
		w.open()
		w.text(margin, w.y+6, 4, "Nothing is left to cut.")
	}
	for i := range w.pages {
		p := &w.pages[i]
		const size, pages = 2.6, 30
		for k, line := range wrap(s.Foot, size, right-margin-pages) {
			p.text(text{x: margin, y: bottom + 5 + 3.4*float64(k), size: size, s: line})
		}
		p.text(text{x: right, y: bottom + 5, size: size, s: fmt.Sprintf("page %d of %d", i+1, len(w.pages)), end: true})
	}
	return w.pages, nil
}

// writer fills pages from the top down.
type writer struct {
	sheet *Sheet
	pages []Page
	y     float64
}

func (w *writer) page() *Page { return &w.pages[len(w.pages)-1] }

// open begins a page with its head.
func (w *writer) open() {
	w.pages = append(w.pages, Page{})
	w.page().text(text{x: margin, y: margin + 4, size: 5, bold: true, s: w.sheet.Title})
	w.page().text(text{x: right, y: margin + 4, size: 3.2, s: w.sheet.Sub, end: true})
	w.y = margin + 9
}

// room begins another page where so much does not fit on this one.
func (w *writer) room(height float64) (fresh bool) {
	if len(w.pages) > 0 && w.y+height <= bottom {
		return false
	}
	w.open()
	return true
}

func (w *writer) text(x, y, size float64, s string) {
	w.page().text(text{x: x, y: y, size: size, s: s})
}

// letter is how wide a letter is for its size, on the safe side, so that texts can be set
// without measuring a font.
const letter = 0.58

func widthOf(s string, size float64) float64 { return float64(len([]rune(s))) * letter * size }

// wrap breaks words into lines no wider than that.
func wrap(s string, size, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && widthOf(line+" "+word, size) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// fitted cuts a text to a width, with a mark that something is missing.
func fitted(s string, size, width float64) string {
	r := []rune(s)
	if n := int(width / (letter * size)); len(r) > n && n > 1 {
		return string(r[:n-1]) + "…"
	}
	return s
}
