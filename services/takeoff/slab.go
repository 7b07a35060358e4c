package takeoff

import (
	"cmp"
	"slices"
)

// slab is a piece of a plane between two lines up the slope, with one straight line
// below and one above: a trapezoid.
type slab struct {
	left, right         float64
	low, high           *side
	lowLeft, lowRight   float64
	highLeft, highRight float64
	sheet               int // the sheet it belongs to
}

func (s *slab) area() float64 {
	return (s.right - s.left) * ((s.highLeft - s.lowLeft) + (s.highRight - s.lowRight)) / 2
}

// slabs cuts what of a plane lies between left and right at every corner of its border,
// so that each slab is a trapezoid, and gathers them to sheets: slabs that lie side by
// side with a common line are one sheet. The slabs of a sheet come from left to right,
// each column from the bottom up; sheets come by their lowest place.
func slabs(sides []side, left, right float64) [][]slab {
	cuts := []float64{left, right}
	var over []*side
	for i := range sides {
		s := &sides[i]
		if s.b.u <= left || s.a.u >= right {
			continue
		}
		over = append(over, s)
		for _, u := range [2]float64{s.a.u, s.b.u} {
			if u > left && u < right {
				cuts = append(cuts, u)
			}
		}
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var all []slab
	var same joined
	first := 0 // where the column before begins
	for i := 1; i < len(cuts); i++ {
		begin := len(all)
		all = appendColumn(all, over, cuts[i-1], cuts[i])
		same.column(all[first:begin], all[begin:])
		first = begin
	}
	return same.sheets(all)
}

func appendColumn(all []slab, over []*side, left, right float64) []slab {
	var across []*side
	for _, s := range over {
		if s.a.u <= left && s.b.u >= right && s.a.u < s.b.u {
			across = append(across, s)
		}
	}
	middle := (left + right) / 2
	slices.SortFunc(across, func(s, t *side) int { return cmp.Compare(s.at(middle), t.at(middle)) })
	// An even number of sides crosses, since the rings are closed.
	for i := 0; i+1 < len(across); i += 2 {
		low, high := across[i], across[i+1]
		all = append(all, slab{
			left: left, right: right, low: low, high: high, sheet: -1,
			lowLeft: low.at(left), lowRight: low.at(right), highLeft: high.at(left), highRight: high.at(right),
		})
	}
	return all
}

// joined tells which sheets are one: each points to another of its own or to itself.
type joined []int

func (j joined) root(sheet int) int {
	for j[sheet] != sheet {
		j[sheet] = j[j[sheet]]
		sheet = j[sheet]
	}
	return sheet
}

// column gives each slab of a column the sheet of its neighbours at the left; a slab with
// several makes one sheet of them. A common line shorter than a micrometre is none.
func (j *joined) column(before, column []slab) {
	const micrometre = 1_000
	i := 0
	for k := range column {
		s := &column[k]
		for i > 0 && before[i-1].highRight > s.lowLeft {
			i--
		}
		for ; i < len(before) && before[i].lowRight < s.highLeft; i++ {
			common := min(before[i].highRight, s.highLeft) - max(before[i].lowRight, s.lowLeft)
			if common < micrometre {
				continue
			}
			if s.sheet < 0 {
				s.sheet = before[i].sheet
			} else {
				(*j)[j.root(before[i].sheet)] = j.root(s.sheet)
			}
		}
		if s.sheet < 0 {
			s.sheet = len(*j)
			*j = append(*j, s.sheet)
		}
	}
}

// sheets sorts the slabs by the sheets they belong to.
func (j joined) sheets(all []slab) [][]slab {
	place := make([]int, len(j))
	var sheets [][]slab
	for _, s := range all {
		root := j.root(s.sheet)
		if place[root] == 0 {
			sheets = append(sheets, nil)
			place[root] = len(sheets)
		}
		n := place[root] - 1
		sheets[n] = append(sheets[n], s)
	}
	slices.SortStableFunc(sheets, func(a, b []slab) int { return cmp.Compare(lowest(a), lowest(b)) })
	return sheets
}

func lowest(sheet []slab) float64 {
	low := sheet[0].lowLeft
	for i := range sheet {
		low = min(low, sheet[i].lowLeft, sheet[i].lowRight)
	}
	return low
}
