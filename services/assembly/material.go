package assembly

import (
	"strings"

	"bydark/events"
	"bydark/events/quantity"
)

// Material is something that is bought for the roof.
type Material struct {
	ID   events.MaterialID `json:"id"`
	Name string            `json:"name"`
	// Unit is what it is reckoned in: each, mm or m2.
	Unit string `json:"unit"`
	// Pack is what it is bought in; its zero value: by the unit itself.
	Pack Pack `json:"pack,omitzero"`
	// Width is the width of what comes off a roll.
	Width quantity.Length `json:"width,omitzero"`
	// LeadDays is how many days it takes to come, where the job does not say.
	LeadDays int    `json:"lead_days"`
	Source   string `json:"source"`
}

// Pack is what a material is bought in: a roll, a box, a length, a tube.
type Pack struct {
	// Noun is the pack's name in the singular.
	Noun string `json:"noun"`
	// Holds is how much is in one.
	Holds quantity.Amount `json:"holds"`
}

// The units of materials.
const (
	UnitEach   = "each"
	UnitLength = "mm"
	UnitArea   = "m2"
)

// Kind is the kind of the material's amounts.
func (m *Material) Kind() quantity.Kind {
	switch m.Unit {
	case UnitLength:
		return quantity.Lengthwise
	case UnitArea:
		return quantity.Areal
	default:
		return quantity.Count
	}
}

// Amount turns an amount as somebody said it into the material's own unit: packs are
// opened ("3 rolls" of 200 sqft are 600 sqft). Another unit gives an *events.Refusal
// whose Where is left for the caller.
func (m *Material) Amount(said quantity.Amount) (quantity.Amount, error) {
	switch noun := said.Noun(); {
	case said.Kind() != quantity.Count:
		if said.Kind() == m.Kind() {
			return said, nil
		}
	case m.Pack.Noun != "" && (noun == m.Pack.Noun || plural(m.Pack.Noun) == noun):
		return scale(m.Pack.Holds, said.Thousandths())
	case m.Unit == UnitEach && (noun == quantity.Each || noun == "piece" || noun == "pieces"):
		return quantity.Packs(said.Thousandths(), quantity.Each), nil
	}
	return quantity.Amount{}, &events.Refusal{Code: "wrong-unit", Was: said.String(), Want: m.want()}
}

// InPacks is how many whole packs hold an amount of the material's own unit; the amount
// itself where the material has no packs.
func (m *Material) InPacks(a quantity.Amount) quantity.Amount {
	holds := m.Pack.Holds.Smallest()
	if m.Pack.Noun == "" || holds <= 0 || a.Kind() != m.Pack.Holds.Kind() {
		return a
	}
	n := a.Smallest()
	packs := n / holds
	if n%holds > 0 {
		packs++
	}
	noun := m.Pack.Noun
	if packs != 1 {
		noun = plural(noun)
	}
	return quantity.Packs(packs*1000, noun)
}

func (m *Material) want() string {
	want := map[string]string{
		UnitEach: `pieces such as "12 each"`, UnitLength: `a length such as "40'"`, UnitArea: `an area such as "120 sqft"`,
	}[m.Unit]
	if m.Pack.Noun != "" {
		want += ` or packs such as "3 ` + plural(m.Pack.Noun) + `"`
	}
	return want + " of " + string(m.ID)
}

func plural(noun string) string {
	if strings.HasSuffix(noun, "x") || strings.HasSuffix(noun, "s") || strings.HasSuffix(noun, "ch") {
		return noun + "es"
	}
	return noun + "s"
}
