package roof

import (
	"fmt"
	"slices"
	"strings"
)

// overrule is a line of the roof file that changes the kind of an edge, or of a part
// of one: between its planes, from and to places on it, or the whole of it.
type overrule struct {
	between  []PlaneMark
	whole    bool
	from, to Point
	kind     Kind
}

func (o overrule) String() string {
	marks := make([]string, len(o.between))
	for i, m := range o.between {
		marks[i] = string(m)
	}
	s := strings.Join(marks, " and ")
	if !o.whole {
		s += fmt.Sprintf(" from (%s, %s) to (%s, %s)", o.from.X, o.from.Y, o.to.X, o.to.Y)
	}
	return s
}

func readOverrule(r *Roof, doc *overruleDocument, i int) (overrule, error) {
	at := fmt.Sprintf("edges[%d]", i)
	o := overrule{kind: Kind(doc.Kind), whole: doc.From == nil && doc.To == nil}
	if !o.kind.IsKind() {
		return o, &Refusal{Code: "bad-kind", Where: at + ".kind", Was: clip(doc.Kind), Want: fmt.Sprintf("one of %v", kinds)}
	}
	if len(doc.Between) != 1 && len(doc.Between) != 2 {
		return o, &Refusal{Code: "bad-between", Where: at + ".between", Was: fmt.Sprintf("%d planes", len(doc.Between)), Want: "the marks of one plane or two"}
	}
	for _, mark := range doc.Between {
		if _, ok := r.Plane(PlaneMark(mark)); !ok || slices.Contains(o.between, PlaneMark(mark)) {
			return o, &Refusal{Code: "no-such-plane", Where: at + ".between", Was: clip(mark), Want: "marks of planes in this file, each once"}
		}
		o.between = append(o.between, PlaneMark(mark))
	}
	if o.whole {
		return o, nil
	}
	var err error
	if o.from, err = readPoint(at+".from", doc.From); err != nil {
		return o, err
	}
	if o.to, err = readPoint(at+".to", doc.To); err != nil {
		return o, err
	}
	if run(o.from, o.to) < float64(Clearance) {
		return o, &Refusal{Code: "points-too-close", Where: at + ".to", Was: o.String(), Want: "two different places"}
	}
	return o, nil
}

// overrule gives the sides that o names its kind, and tells whether they are there,
// all the way from its one place to its other.
func (m *mesh) overrule(o overrule) bool {
	var found []int
	covered := 0.0
	for s := range m.sides {
		sd := &m.sides[s]
		if !m.isBetween(s, o.between) || sd.ring > 0 && sd.meets < 0 && sd.under < 0 && sd.over < 0 {
			continue
		}
		if !o.whole && !(m.onLine(sd.a, o) && m.onLine(sd.b, o)) {
			continue
		}
		found = append(found, s)
		if sd.meets < s {
			covered += run(m.ends(s))
		}
	}
	if len(found) == 0 || !o.whole && covered < run(o.from, o.to)-2*float64(Clearance) {
		return false
	}
	for _, s := range found {
		m.sides[s].kind = o.kind
	}
	return true
}

func (m *mesh) isBetween(s int, marks []PlaneMark) bool {
	own, other := m.planes[m.sides[s].plane].Mark, m.planeOf(m.sides[s].meets)
	if len(marks) == 1 {
		return own == marks[0] && other < 0
	}
	return slices.Contains(marks, own) && other >= 0 && slices.Contains(marks, m.planes[other].Mark)
}

func (m *mesh) onLine(n int, o overrule) bool {
	nm, _ := distance(m.nodes[n], o.from, o.to)
	return nm <= 2*m.tolerance
}
