package roof

import (
	"bytes"
	json "encoding/json/v2"
	"fmt"
)

// Write gives the roof as a roof file, one plane a line, that Read reads as the same
// roof: outlines counterclockwise, heights as worked out, lengths exact.
func Write(r *Roof) ([]byte, error) {
	var b bytes.Buffer
	name, err := json.Marshal(r.Name)
	if err != nil {
		return nil, fmt.Errorf("write roof %q: %w", r.Name, err)
	}
	fmt.Fprintf(&b, "{\"name\":%s,\"planes\":[", name)
	for i := range r.Planes {
		if err := writeLine(&b, i, documentOf(&r.Planes[i])); err != nil {
			return nil, fmt.Errorf("write plane %s: %w", r.Planes[i].Mark, err)
		}
	}
	b.WriteString("\n]")
	if len(r.overrules) > 0 {
		b.WriteString(",\"edges\":[")
		for i, o := range r.overrules {
			if err := writeLine(&b, i, o.document()); err != nil {
				return nil, fmt.Errorf("write edge %s: %w", o, err)
			}
		}
		b.WriteString("\n]")
	}
	b.WriteString("}\n")
	return b.Bytes(), nil
}

func writeLine(b *bytes.Buffer, i int, line any) error {
	text, err := json.Marshal(line)
	if err != nil {
		return err
	}
	if i > 0 {
		b.WriteByte(',')
	}
	b.WriteString("\n ")
	b.Write(text)
	return nil
}

func documentOf(p *Plane) planeDocument {
	falls := p.FallsDeg
	doc := planeDocument{
		Mark: string(p.Mark), Outline: pairs(p.Outline), Pitch: p.Pitch.String(), FallsDeg: &falls, EaveHeight: p.EaveHeight.String(),
		Kinds: p.kindWords(), Pipes: p.pipeDocuments(),
	}
	for i := range p.Openings {
		doc.Openings = append(doc.Openings, pairs(p.Openings[i].Outline))
	}
	return doc
}

func (o overrule) document() overruleDocument {
	doc := overruleDocument{Kind: string(o.kind)}
	for _, mark := range o.between {
		doc.Between = append(doc.Between, string(mark))
	}
	if !o.whole {
		doc.From, doc.To = pair(o.from), pair(o.to)
	}
	return doc
}

func pairs(points []Point) [][]string {
	out := make([][]string, len(points))
	for i, p := range points {
		out[i] = pair(p)
	}
	return out
}

func pair(p Point) []string { return []string{p.X.String(), p.Y.String()} }
