package takeoff

import (
	"fmt"
	"math"
	"strings"

	"bydark/events"
	"bydark/events/quantity"
)

// Cutout is what is cut out of a panel for an opening that takes a part of its width, or
// where the plane's border comes in from the side: the least box round it, from the panel's
// left seam and from its lowest place, without what the end gains.
type Cutout struct {
	Place                  events.Place
	Left, Right, Low, High quantity.Length
}

// String says it as it is marked out on the sheet.
func (c Cutout) String() string {
	return fmt.Sprintf("for %s, %s to %s from the left seam, %s to %s up", c.Place,
		c.Left.Nearest(16), c.Right.Nearest(16), c.Low.Nearest(16), c.High.Nearest(16))
}

// cutouts are the gaps between the slabs of a sheet's columns, those of one opening or edge that
// lie side by side taken together.
func cutouts(sheet []slab, left, low float64) []Cutout {
	type gap struct {
		place                  events.Place
		left, right, low, high float64
	}
	var gaps []gap
	for i := 1; i < len(sheet); i++ {
		below, over := &sheet[i-1], &sheet[i]
		if below.left != over.left || over.lowLeft-below.highLeft <= hair && over.lowRight-below.highRight <= hair {
			continue
		}
		g := gap{below.high.place, below.left, below.right, min(below.highLeft, below.highRight), max(over.lowLeft, over.lowRight)}
		if n := len(gaps); n > 0 && gaps[n-1].place == g.place && gaps[n-1].right == g.left {
			last := &gaps[n-1]
			last.right, last.low, last.high = g.right, min(last.low, g.low), max(last.high, g.high)
			continue
		}
		gaps = append(gaps, g)
	}
	var all []Cutout
	for _, g := range gaps {
		if g.right-g.left > hair {
			all = append(all, Cutout{g.place, nanometres(g.left - left), nanometres(g.right - left), nanometres(g.low - low), nanometres(math.Max(g.high, g.low) - low)})
		}
	}
	return all
}

func cutoutWords(all []Cutout) string {
	words := make([]string, len(all))
	for i, c := range all {
		words[i] = c.String()
	}
	return strings.Join(words, "; ")
}
