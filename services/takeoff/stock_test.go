package takeoff

import (
	"slices"
	"testing"

	"bydark/events/quantity"

	"pgregory.net/rapid"
)

// The dumb twin of stocks looks at every stock for each piece.
func TestStocksIsFirstFitDecreasing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		const stock = 120 * quantity.Inch
		var all []quantity.Length
		for _, n := range rapid.SliceOf(rapid.Int64Range(1, 120)).Draw(t, "inches") {
			all = append(all, quantity.Length(n)*quantity.Inch)
		}
		sorted := slices.Clone(all)
		slices.Sort(sorted)
		slices.Reverse(sorted)
		var left []quantity.Length
		for _, piece := range sorted {
			i := slices.IndexFunc(left, func(room quantity.Length) bool { return room >= piece })
			if i < 0 {
				left = append(left, stock)
				i = len(left) - 1
			}
			left[i] -= piece
		}
		count, last := stocks(all, stock)
		if int(count) != len(left) || count > 0 && last != left[len(left)-1] {
			t.Fatalf("%d stocks, %v left; the twin says %v", count, last, left)
		}
	})
}

// Pieces cut from stock lengths and lapped make up the run exactly, with the fewest
// lengths.
func TestRunPiecesMakeUpTheRun(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		const stock = 120 * quantity.Inch
		length := quantity.Length(rapid.Int64Range(1, 2000).Draw(t, "sixteenths x 8")) * quantity.Inch / 2
		lap := quantity.Length(rapid.Int64Range(0, 12).Draw(t, "lap")) * quantity.Inch
		all := runPieces(length, stock, lap)
		covered := sum(all) - lap*quantity.Length(len(all)-1)
		if covered != length {
			t.Fatalf("%v lapped %v cover %v, want %v", all, lap, covered, length)
		}
		for _, piece := range all {
			if piece <= 0 || piece > stock {
				t.Fatalf("a piece of %v", piece)
			}
		}
		if fewer := len(all) - 1; fewer > 0 && quantity.Length(fewer)*(stock-lap)+lap >= length {
			t.Fatalf("%d lengths would do for %v", fewer, length)
		}
	})
}
