package roof

// BuildingLine is one building of a city model, as the list of an import shows it.
type BuildingLine struct {
	ID     string       `json:"id"`
	Planes int          `json:"planes"`
	AreaM2 float64      `json:"area_m2"`
	Edges  map[Kind]int `json:"edges"`
	// Skipped tells that there is no roof; Reason says why.
	Skipped bool       `json:"skipped"`
	Reason  string     `json:"reason"`
	LeftOut []LeftLine `json:"left_out,omitempty"`
}

// LeftLine is a face that was left out of a roof or cut, and why.
type LeftLine struct {
	Part   string  `json:"part"`
	Face   int     `json:"face"`
	Why    string  `json:"why"`
	AreaM2 float64 `json:"area_m2"`
}

// Line tells of a building in one line.
func (b *Building) Line() BuildingLine {
	line := BuildingLine{ID: b.ID, Edges: map[Kind]int{}, Skipped: b.Roof == nil, Reason: b.Reason}
	for _, l := range b.Left {
		line.LeftOut = append(line.LeftOut, LeftLine{l.Part, l.Index, l.Why, l.AreaM2})
	}
	if b.Roof == nil {
		return line
	}
	line.Planes, line.AreaM2 = len(b.Roof.Planes), b.Roof.Area().SquareMetres()
	for i := range b.Roof.Edges {
		line.Edges[b.Roof.Edges[i].Kind]++
	}
	return line
}
