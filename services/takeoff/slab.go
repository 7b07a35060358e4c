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

// cutter cuts planes into slabs. It keeps its scratch from one cut to the next: what it
// gave is good until it is asked again.
type cutter struct {
	cuts         []float64
	over, across []*side
	all, sorted  []slab
	same         joined
	place        []int
	sheets       [][]slab
	low, high    []line
}

// slabs cuts what of a plane lies between left and right at every corner of its border,
// so that each slab is a trapezoid, and gathers them to sheets: slabs that lie side by
// side with a common line are one sheet. The slabs of a sheet come from left to right,
// each column from the bottom up; sheets come by their lowest place.
func (c *cutter) slabs(sides []side, left, right float64) [][]slab {
	c.cuts, c.over, c.all, c.same = append(c.cuts[:0], left, right), c.over[:0], c.all[:0], c.same[:0]
	for i := range sides {
		s := &sides[i]
		if s.b.u <= left || s.a.u >= right {
			continue
		}
		c.over = append(c.over, s)
		for _, u := range [2]float64{s.a.u, s.b.u} {
			if u > left && u < right {
				c.cuts = append(c.cuts, u)
			}
		}
	}
	slices.Sort(c.cuts)
	c.cuts = slices.Compact(c.cuts)
	first := 0 // where the column before begins
	for i := 1; i < len(c.cuts); i++ {
		begin := len(c.all)
		c.column(c.cuts[i-1], c.cuts[i])
		c.same.column(c.all[first:begin], c.all[begin:])
		first = begin
	}
	return c.gather()
}

func (c *cutter) column(left, right float64) {
	across := c.across[:0]
	for _, s := range c.over {
		if s.a.u <= left && s.b.u >= right && s.a.u < s.b.u {
			across = append(across, s)
		}
	}
	c.across = across
	middle := (left + right) / 2
	slices.SortFunc(across, func(s, t *side) int { return cmp.Compare(s.at(middle), t.at(middle)) })
	// An even number of sides crosses, since the rings are closed.
	for i := 0; i+1 < len(across); i += 2 {
		low, high := across[i], across[i+1]
		c.all = append(c.all, slab{
			left: left, right: right, low: low, high: high, sheet: -1,
			lowLeft: low.at(left), lowRight: low.at(right), highLeft: high.at(left), highRight: high.at(right),
		})
	}
}

// gather sorts the slabs by the sheets they belong to.
func (c *cutter) gather() [][]slab {
	c.place, c.sheets, c.sorted = c.place[:0], c.sheets[:0], c.sorted[:0]
	for range c.same {
		c.place = append(c.place, 0)
	}
	for i := range c.all {
		c.place[c.same.root(c.all[i].sheet)]++
	}
	if cap(c.sorted) < len(c.all) {
		c.sorted = make([]slab, len(c.all))
	}
	c.sorted = c.sorted[:len(c.all)]
	begin := 0
	for root, n := range c.place {
		c.place[root] = begin
		if n > 0 {
			c.sheets = append(c.sheets, c.sorted[begin:begin+n])
		}
		begin += n
	}
	for _, s := range c.all {
		root := c.same.root(s.sheet)
		c.sorted[c.place[root]] = s
		c.place[root]++
	}
	slices.SortStableFunc(c.sheets, func(a, b []slab) int { return cmp.Compare(lowest(a), lowest(b)) })
	return c.sheets
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

func lowest(sheet []slab) float64 {
	low := sheet[0].lowLeft
	for i := range sheet {
		low = min(low, sheet[i].lowLeft, sheet[i].lowRight)
	}
	return low
}
