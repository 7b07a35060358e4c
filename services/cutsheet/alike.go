package cutsheet

import (
	"fmt"
	"strings"

	"bydark/services/cutplan"
)

// Alike parts a plan's bars into those that are cut alike: out of the same stock, the same
// lengths and ends in the same order. Each part holds the numbers of its bars, from nought,
// in the plan's order; the parts stand in the order of their first bars.
func Alike(q *cutplan.Request, a *cutplan.Answer) [][]int {
	pieces := map[string]cutplan.Piece{}
	for _, p := range q.Pieces {
		pieces[p.Name(q.Plain)] = p
	}
	at := map[string]int{}
	var parts [][]int
	for n := range a.Bars {
		bar := &a.Bars[n]
		var key strings.Builder
		fmt.Fprintf(&key, "%s %d %v", bar.Stock, bar.StockLength.N, bar.Keep)
		for _, mark := range bar.Pieces {
			p := pieces[mark]
			fmt.Fprintf(&key, " %d/%d/%d", p.Length, p.LowRun, p.HighRun)
		}
		k, known := at[key.String()]
		if !known {
			k = len(parts)
			at[key.String()] = k
			parts = append(parts, nil)
		}
		parts[k] = append(parts[k], n)
	}
	return parts
}

// Numbers names bars that are numbered from nought as people count them: "1 to 4, 7".
func Numbers(bars []int) string {
	var said []string
	for i := 0; i < len(bars); {
		k := i
		for k+1 < len(bars) && bars[k+1] == bars[k]+1 {
			k++
		}
		switch k {
		case i:
			said = append(said, fmt.Sprint(bars[i]+1))
		case i + 1:
			said = append(said, fmt.Sprint(bars[i]+1), fmt.Sprint(bars[k]+1))
		default:
			said = append(said, fmt.Sprintf("%d to %d", bars[i]+1, bars[k]+1))
		}
		i = k + 1
	}
	return strings.Join(said, ", ")
}
