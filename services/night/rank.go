package night

import (
	"cmp"
	"slices"
	"time"
)

// Glance is a roof's coming night in one line, for whoever watches several.
type Glance struct {
	From  time.Time `json:"from"`
	To    time.Time `json:"to"`
	Water Water     `json:"water"`
	// WeightL is what roofs are ranked by: see Place.
	WeightL      float64   `json:"weight_l"`
	Worst        time.Time `json:"worst_hour,omitzero"`
	WorstL       float64   `json:"worst_hour_l"`
	UnknownHours int       `json:"unknown_hours"`
	Assumes      string    `json:"assumes"`
	// Rank is 1 for the roof to worry about most; zero for one into which nothing gets.
	Rank int `json:"rank"`
}

// Glance makes one line of a night.
func (n Night) Glance() Glance {
	g := Glance{From: n.From, To: n.To, Water: n.Water, Worst: n.Worst, WorstL: n.WorstL, UnknownHours: n.UnknownHours, Assumes: n.Assumes}
	for _, p := range n.Places {
		g.WeightL += p.WeightL
	}
	return g
}

// Rank numbers roofs by what their nights bring, the worst first; alike by their worst hour,
// then as they come.
func Rank(nights []*Glance) {
	order := slices.Clone(nights)
	slices.SortStableFunc(order, func(a, b *Glance) int {
		return cmp.Or(cmp.Compare(b.WeightL, a.WeightL), cmp.Compare(b.WorstL, a.WorstL))
	})
	for i, g := range order {
		if g.WeightL > 0 {
			g.Rank = i + 1
		}
	}
}
