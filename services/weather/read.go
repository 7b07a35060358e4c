package weather

import (
	"bytes"
	"encoding/json/jsontext"
	"encoding/json/v2"
	"errors"
	"fmt"
	"io"
	"time"

	"bydark/events"
)

// Read reads a forecast document: gridpoint layers or a forecast by periods of the US
// National Weather Service, our own JSON as it is printed, or our own CSV.
//
// Amounts are spread evenly over the hours of their interval, levels hold over them,
// units are taken as declared. What is absurd, doubled, missing or in an unknown unit is
// left unknown and told in Forecast.Told. An *events.Refusal, and no forecast, is the answer to
// a document that is cut off, larger than any forecast, has nothing in it, or whose
// clock leaps. Strange members of the service's documents are passed over; in our own
// formats they are refused. Time and memory are bounded by the document's length.
func Read(doc []byte) (Forecast, error) {
	doc = bytes.TrimPrefix(doc, []byte("\uFEFF"))
	if err := checkLength(doc); err != nil {
		return Forecast{}, err
	}
	if text := bytes.TrimLeft(doc, " \t\r\n"); text[0] != '{' && text[0] != '[' {
		return readCSV(doc)
	}
	var d document
	if err := decode(doc, "document", &d); err != nil {
		return Forecast{}, err
	}
	if d.Hours != nil {
		return readOwn(doc)
	}
	if d.Features != nil {
		return Forecast{}, refuse(CodeUnknown, "document", "a collection of features", "a forecast; alerts and observations are read on their own")
	}
	properties := d.Properties
	if properties == nil {
		properties = doc // without GeoJSON round it, the layers stand at the top
	}
	var p probe
	if err := decode(properties, "properties", &p); err != nil {
		return Forecast{}, err
	}
	switch {
	case p.Periods != nil:
		return readPeriods(properties, d.Geometry)
	case p.ValidTimes != nil:
		return readGridpoint(properties, d.Geometry)
	}
	return Forecast{}, refuse(CodeUnknown, "document", string(d.Type), "a gridpoint document, a forecast by periods, our JSON or our CSV")
}

// document is the outermost of any JSON that Read takes.
type document struct {
	Type       jsontext.Value `json:"type"`
	Geometry   jsontext.Value `json:"geometry"`
	Features   jsontext.Value `json:"features"`
	Hours      jsontext.Value `json:"hours"`
	Properties jsontext.Value `json:"properties"`
}

// probe tells the service's two kinds of forecast apart.
type probe struct {
	Periods    jsontext.Value `json:"periods"`
	ValidTimes jsontext.Value `json:"validTimes"`
}

func checkLength(doc []byte) error {
	switch {
	case len(doc) > maxDocument:
		return refuse(CodeTooLarge, "document", fmt.Sprintf("%d bytes", len(doc)), fmt.Sprintf("at most %d bytes", maxDocument))
	case len(bytes.TrimSpace(doc)) == 0:
		return refuse(CodeNothing, "document", "nothing but space", "a forecast document")
	}
	return nil
}

// decode reads JSON whole: one value, no member twice, no bad UTF-8. A fault in it comes
// back as an *events.Refusal that names the byte or the member.
func decode(doc []byte, where string, into any, opts ...json.Options) error {
	err := json.Unmarshal(doc, into, opts...)
	if err == nil {
		return nil
	}
	if r := events.RefusalIn(err); r != nil {
		return refuse(r.Code, where+r.Where, r.Was, r.Want)
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return refuse(CodeUnreadable, where, "it ends in the middle, after "+fmt.Sprint(len(doc))+" bytes", "a whole document")
	}
	if s, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		return refuse(CodeUnreadable, fmt.Sprintf("%s%s, byte %d", where, s.JSONPointer, s.ByteOffset), s.Err.Error(), "plain JSON, each member once")
	}
	if s, ok := errors.AsType[*json.SemanticError](err); ok {
		want := "what the format has there"
		if s.GoType != nil {
			want = "a " + s.GoType.Kind().String()
		}
		return refuse(CodeUnreadable, where+string(s.JSONPointer), s.JSONKind.String(), want)
	}
	return fmt.Errorf("read %s of %d bytes: %w", where, len(doc), err)
}

// assemble lays the series out and puts the forecast together.
func assemble(kind, issued, place string, all []series) (Forecast, error) {
	for _, s := range all {
		if len(s.intervals) > maxIntervals {
			return Forecast{}, refuse(CodeTooLarge, s.where, fmt.Sprintf("%d intervals", len(s.intervals)), fmt.Sprintf("at most %d", maxIntervals))
		}
	}
	b, err := newBoard(all)
	if err != nil {
		return Forecast{}, err
	}
	for _, s := range all {
		if err := b.lay(s); err != nil {
			return Forecast{}, err
		}
	}
	f := Forecast{Kind: kind, Place: place, Hours: b.hours, Told: b.told}
	f.dated(issued)
	return f, nil
}

// placed sets where the forecast is for, and tells when its outline is no cell of a grid.
func (f *Forecast) placed(geometry []byte) {
	o := outlineOf(geometry)
	if o.isCell() {
		f.Outline = o
		return
	}
	f.Told = append(f.Told, Note{NotePlace, "geometry", "the outline is wider than any cell of a forecast's grid: where the forecast is for is not known"})
}

// dated sets when the forecast was issued, and tells when that cannot be or does not fit.
func (f *Forecast) dated(issued string) {
	first, end := f.Hours[0].Time, f.Hours[len(f.Hours)-1].Time.Add(time.Hour)
	t, err := time.Parse(time.RFC3339, issued)
	switch {
	case issued == "":
		f.Told = append(f.Told, Note{NoteIssued, "issued", "the document does not say when it was issued"})
		return
	case err != nil:
		f.Told = append(f.Told, Note{NoteIssued, "issued", fmt.Sprintf("%q is no time: not taken", clip(issued))})
		return
	case t.After(end) || first.Sub(t) > 48*time.Hour:
		f.Told = append(f.Told, Note{NoteIssued, "issued", fmt.Sprintf("%s does not fit hours from %s to %s", stamp(t), stamp(first), stamp(end))})
	}
	f.Issued = t.UTC()
}
