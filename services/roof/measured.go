package roof

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"bydark/events/quantity"
)

// Snap is how near corners of hand-measured planes, or a corner and a side, must come
// to count as one: an inch, what a tape and a batter board leave open.
const Snap = quantity.Inch

// measuredColumns are the columns of a sheet of hand-measured planes.
var measuredColumns = []string{"mark", "shape", "eave", "top", "offset", "slope_length", "run", "pitch", "falls_deg", "x", "y", "eave_height"}

// ReadMeasured reads a sheet of planes measured by hand, as CSV with a header, one
// plane a row:
//
//	mark, shape   A; rectangle, triangle or trapezoid
//	eave, top     the lower and the upper level side; a triangle has one of them
//	offset        how far the top starts from the left end of the eave, looking up the
//	              slope (of a triangle with a top, the eave's point from the top's left
//	              end); left out, the shape is the same on both sides
//	slope_length  from eave to top up the slope, or
//	run           the same in plan
//	pitch         rise over run, 6/12
//	falls_deg     the compass bearing in which water runs off
//	x, y          where the left end of the lower side, or the lower point, lies in plan
//	eave_height   may be left out, as in a roof file
//
// Corners nearer than Snap to each other are taken as one, at the first by place. It
// refuses with a *Refusal that names row and column, or as Read does.
func ReadMeasured(name string, data []byte) (*Roof, error) {
	if len(data) > MaxBytes {
		return nil, &Refusal{Code: "too-large", Where: "sheet", Was: fmt.Sprintf("%d bytes", len(data)), Want: fmt.Sprintf("%d bytes at most", MaxBytes)}
	}
	reader := csv.NewReader(bytes.NewReader(data))
	reader.TrimLeadingSpace = true
	// Feet and inches carry their own quotation marks.
	reader.LazyQuotes = true
	header, err := reader.Read()
	if err != nil {
		return nil, &Refusal{Code: "not-a-sheet", Where: "row 1", Was: fmt.Sprint(err), Want: "a header of " + strings.Join(measuredColumns, ", ")}
	}
	for i, column := range header {
		header[i] = strings.ToLower(strings.TrimSpace(column))
		if !slices.Contains(measuredColumns, header[i]) || slices.Index(header, header[i]) < i {
			return nil, &Refusal{Code: "unknown-column", Where: fmt.Sprintf("row 1, column %d", i+1), Was: clip(column), Want: "each once of " + strings.Join(measuredColumns, ", ")}
		}
	}
	doc := document{Name: name}
	for row := 2; ; row++ {
		fields, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, &Refusal{Code: "not-a-sheet", Where: fmt.Sprintf("row %d", row), Was: err.Error(), Want: fmt.Sprintf("%d fields", len(header))}
		}
		m := measuredRow{row: row, fields: make(map[string]string)}
		for i, f := range fields {
			m.fields[header[i]] = strings.TrimSpace(f)
		}
		plane, err := m.document()
		if err != nil {
			return nil, err
		}
		doc.Planes = append(doc.Planes, plane)
	}
	if err := checkSize(&doc); err != nil {
		return nil, err
	}
	return snapped(&doc)
}

// snapped moves corners that lie within Snap of each other together, once the sheet's
// planes are good each by itself.
func snapped(doc *document) (*Roof, error) {
	var planes []Plane
	for i := range doc.Planes {
		p, err := readPlane(&doc.Planes[i], i)
		if err != nil {
			return nil, err
		}
		planes = append(planes, p)
	}
	m := newMesh(planes, nil, float64(Snap))
	for i := range doc.Planes {
		doc.Planes[i].Outline = pairs(m.pointRings(i)[0])
	}
	return build(doc)
}

type measuredRow struct {
	row    int
	fields map[string]string
}

func (m *measuredRow) refuse(code, column, want string) error {
	return &Refusal{Code: code, Where: fmt.Sprintf("row %d (%s), column %s", m.row, clip(m.fields["mark"]), column), Was: clip(m.fields[column]), Want: want}
}

// length reads a column; absent it gives false.
func (m *measuredRow) length(column string) (quantity.Length, bool, error) {
	text := m.fields[column]
	if text == "" {
		return 0, false, nil
	}
	l, err := readLength(fmt.Sprintf("row %d (%s), column %s", m.row, clip(m.fields["mark"]), column), text)
	return l, true, err
}

// sides reads the level sides and where the upper starts from the left of the lower.
func (m *measuredRow) sides() (eave, top, offset quantity.Length, err error) {
	eave, hasEave, err1 := m.length("eave")
	top, hasTop, err2 := m.length("top")
	offset, hasOffset, err3 := m.length("offset")
	if err := errors.Join(err1, err2, err3); err != nil {
		return 0, 0, 0, err
	}
	switch m.fields["shape"] {
	case "rectangle":
		if !hasEave || hasTop && top != eave || hasOffset && offset != 0 {
			return 0, 0, 0, m.refuse("bad-shape", "eave", "a rectangle's eave, and no other top or offset; else it is a trapezoid")
		}
		return eave, eave, 0, nil
	case "triangle":
		if hasEave == hasTop {
			return 0, 0, 0, m.refuse("bad-shape", "eave", "a triangle's one level side: its eave, or its top where it stands on its point")
		}
		if hasTop && hasOffset {
			offset = -offset
		}
	case "trapezoid":
		if !hasEave || !hasTop {
			return 0, 0, 0, m.refuse("bad-shape", "top", "a trapezoid's eave and top")
		}
	default:
		return 0, 0, 0, m.refuse("bad-shape", "shape", "rectangle, triangle or trapezoid")
	}
	if !hasOffset {
		offset = (eave - top) / 2
	}
	return eave, top, offset, nil
}

func (m *measuredRow) document() (planeDocument, error) {
	doc := planeDocument{Mark: m.fields["mark"], Pitch: m.fields["pitch"], EaveHeight: m.fields["eave_height"]}
	falls, err := strconv.ParseFloat(m.fields["falls_deg"], 64)
	if err != nil {
		return doc, m.refuse("bad-fall", "falls_deg", "the compass bearing in which water runs off, 0 to 360")
	}
	doc.FallsDeg = &falls
	eave, top, offset, err := m.sides()
	if err != nil {
		return doc, err
	}
	run, err := m.run()
	if err != nil {
		return doc, err
	}
	x, hasX, err1 := m.length("x")
	y, hasY, err2 := m.length("y")
	switch err := errors.Join(err1, err2); {
	case err != nil:
		return doc, err
	case !hasX || !hasY:
		return doc, m.refuse("no-place", "x", "x and y of the left end of the lower side, looking up the slope: without them nobody knows which planes meet")
	}
	dx, dy := downhill(falls)
	at := func(right, up quantity.Length) Point {
		// Looking uphill, right is downhill turned a quarter to the left.
		east := -float64(right)*dy - float64(up)*dx
		north := float64(right)*dx - float64(up)*dy
		return Point{x + quantity.Length(math.Round(east)), y + quantity.Length(math.Round(north))}
	}
	ring := []Point{at(0, 0)}
	if eave > 0 {
		ring = append(ring, at(eave, 0))
	}
	ring = append(ring, at(offset+top, run))
	if top > 0 {
		ring = append(ring, at(offset, run))
	}
	doc.Outline = pairs(ring)
	return doc, nil
}

// run reads the run, or works it out from the length up the slope.
func (m *measuredRow) run() (quantity.Length, error) {
	run, hasRun, err1 := m.length("run")
	slope, hasSlope, err2 := m.length("slope_length")
	if err := errors.Join(err1, err2); err != nil {
		return 0, err
	}
	if hasRun == hasSlope {
		return 0, m.refuse("bad-shape", "slope_length", "either the length up the slope or the run in plan")
	}
	if hasRun {
		return run, nil
	}
	pitch, err := quantity.ParsePitch(m.fields["pitch"])
	if err != nil {
		return 0, refuseParse(fmt.Sprintf("row %d (%s), column pitch", m.row, clip(m.fields["mark"])), err)
	}
	return quantity.Length(math.Round(float64(slope) / SlopeFactor(pitch))), nil
}
