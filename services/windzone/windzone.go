// Package windzone holds the external pressure coefficients GCp of components and cladding
// by zone of a roof, as data with their edition and source, and reads tables of a user's
// own. It is pure; a Table does not change once it is read.
//
// The coefficients are for finished, enclosed buildings up to 60 ft high. Nothing published covers
// a roof partly built: there they are a caution that a person judges, never a check of capacity.
package windzone

import (
	_ "embed"
	"encoding/json/v2"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Table is one edition's coefficients, or those of a user.
type Table struct {
	Edition string `json:"edition"`
	// Basis says how far the figures are to be trusted: Checked, Transcribed or Entered.
	Basis string `json:"basis,omitempty"`
	// Source says where they were read, Missing what the table does not have.
	Source  string `json:"source"`
	Missing string `json:"missing,omitempty"`
	Roofs   []Roof `json:"roofs"`
}

// How far a table is to be trusted.
const (
	// Checked figures agree with what a published table prints from them.
	Checked = "checked"
	// Transcribed figures were read in somebody's copy and not in the standard: they are used
	// where an assembly asks for them by name, and never by themselves.
	Transcribed = "transcribed"
	// Entered figures are the user's.
	Entered = "entered"
)

// Roof is the zones of roofs of a shape and of slopes above AboveDeg and up to ToDeg.
type Roof struct {
	// Shape is gable, hip or any.
	Shape    string  `json:"shape"`
	AboveDeg float64 `json:"above_deg"`
	ToDeg    float64 `json:"to_deg"`
	// Figure names the figure of the edition.
	Figure string `json:"figure"`
	Note   string `json:"note,omitempty"`
	Zones  []Zone `json:"zones"`
}

// Zone is one zone's coefficients: Up lifts and is below zero, Down presses and is above. The
// field of a roof is zone 1.
type Zone struct {
	Zone string  `json:"zone"`
	Up   []Point `json:"up"`
	Down []Point `json:"down"`
}

// Point is a coefficient at an effective wind area in square feet.
type Point struct {
	AreaFt2 float64 `json:"area_sqft"`
	GCp     float64 `json:"gcp"`
}

// EffectiveAreaFt2 is the effective wind area of a fastener or clip: its span times the width
// that it holds, which need not be taken below a third of the span. ASCE 7 section 26.2 (from
// memory).
func EffectiveAreaFt2(spanFt, widthFt float64) float64 { return spanFt * max(widthFt, spanFt/3) }

// At is the coefficient at an effective wind area: straight between the points over the
// logarithm of the area, as the figures are drawn, and level outside them.
func At(points []Point, areaFt2 float64) float64 {
	for i, p := range points {
		if areaFt2 > p.AreaFt2 {
			continue
		}
		if i == 0 {
			return p.GCp
		}
		q := points[i-1]
		return q.GCp + (p.GCp-q.GCp)*math.Log(areaFt2/q.AreaFt2)/math.Log(p.AreaFt2/q.AreaFt2)
	}
	return points[len(points)-1].GCp
}

// Find gives the zones of roofs of a shape, gable or hip, and a slope; false where the
// table has none.
func (t Table) Find(shape string, slopeDeg float64) (Roof, bool) {
	for _, r := range t.Roofs {
		if (r.Shape == shape || r.Shape == Any) && slopeDeg <= r.ToDeg && (slopeDeg > r.AboveDeg || r.AboveDeg == 0 && slopeDeg >= 0) {
			return r, true
		}
	}
	return Roof{}, false
}

// Shapes of roofs.
const (
	Gable = "gable"
	Hip   = "hip"
	Any   = "any"
)

// Field is the coefficient of lift in zone 1, and of the zone that is lifted hardest with
// that zone's name, at an effective wind area.
func (r Roof) Field(areaFt2 float64) (field, worst float64, zone string) {
	for _, z := range r.Zones {
		up := At(z.Up, areaFt2)
		if z.Zone == "1" {
			field = up
		}
		if up < worst {
			worst, zone = up, z.Zone
		}
	}
	return field, worst, zone
}

//go:embed editions.json
var embedded []byte

var editions = func() []Table {
	var all []Table
	if err := json.Unmarshal(embedded, &all, json.RejectUnknownMembers(true)); err != nil {
		panic(fmt.Sprintf("windzone: editions.json: %v", err))
	}
	return all
}()

// Default is the edition that is used where nothing is said: the one that published figures
// were checked against.
const Default = "ASCE 7-10"

// Editions names the editions that come with the program.
func Editions() []string {
	var names []string
	for _, t := range editions {
		names = append(names, t.Edition)
	}
	return names
}

// Edition finds an edition's table; false for one that does not come with the program.
func Edition(name string) (Table, bool) {
	i := slices.IndexFunc(editions, func(t Table) bool { return t.Edition == name })
	if i < 0 {
		return Table{}, false
	}
	return editions[i], true
}

// Choice is which table an assembly takes: an edition by its name, or one of its own. The zero value
// is none.
type Choice struct {
	Edition string `json:"edition,omitempty"`
	Table   *Table `json:"table,omitempty"`
}

// Chosen is the table of a choice, the default edition's for none.
func (c Choice) Chosen() Table {
	if c.Table != nil {
		own := *c.Table
		own.Basis = Entered
		return own
	}
	name := c.Edition
	if name == "" {
		name = Default
	}
	t, _ := Edition(name) // checked when it was chosen
	return t
}

func listed(names []string) string { return strings.Join(names, ", ") }
