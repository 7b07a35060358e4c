package cutsheet_test

import (
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bydark/services/cutplan"
	"bydark/services/cutsheet"
)

// Every bar is in one part, and bars are in one part just when they look the same, piece by piece.
func TestAlike(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		q := cutplan.Request{Plain: true, Pieces: []cutplan.Piece{{Mark: "a", Length: 3, Count: 1}, {Mark: "b", Length: 3, Count: 1}, {Mark: "c", Length: 4, Count: 1}, {Mark: "d", Length: 3, LowRun: 1, Count: 1}}}
		var a cutplan.Answer
		for range rapid.IntRange(1, 9).Draw(t, "bars") {
			bar := cutplan.Bar{StockLength: cutplan.Measure{N: int64(rapid.SampledFrom([]int{10, 12}).Draw(t, "stock")), Plain: true}}
			bar.Pieces = rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "c", "d"}), 1, 2).Draw(t, "pieces")
			a.Bars = append(a.Bars, bar)
		}
		look := func(n int) []int64 {
			seen := []int64{a.Bars[n].StockLength.N}
			for _, mark := range a.Bars[n].Pieces {
				i := slices.IndexFunc(q.Pieces, func(p cutplan.Piece) bool { return p.Mark == mark })
				seen = append(seen, q.Pieces[i].Length, q.Pieces[i].LowRun)
			}
			return seen
		}
		in := map[int]int{}
		for k, part := range cutsheet.Alike(&q, &a) {
			for _, n := range part {
				if _, twice := in[n]; twice {
					t.Fatalf("bar %d is in two parts", n)
				}
				in[n] = k
			}
		}
		for i := range a.Bars {
			for k := range a.Bars {
				if (in[i] == in[k]) != slices.Equal(look(i), look(k)) {
					t.Fatalf("bars %v and %v, parts %d and %d", a.Bars[i], a.Bars[k], in[i], in[k])
				}
			}
			drawn := xml.NewDecoder(strings.NewReader(cutsheet.Strip(&q, &a, i)))
			for {
				if _, err := drawn.Token(); errors.Is(err, io.EOF) {
					break
				} else if err != nil {
					t.Fatalf("strip of bar %d: %v", i, err)
				}
			}
		}
		if len(in) != len(a.Bars) {
			t.Fatalf("%d of %d bars", len(in), len(a.Bars))
		}
	})
}

func TestNumbers(t *testing.T) {
	t.Parallel()
	for want, bars := range map[string][]int{"": nil, "1": {0}, "1, 2": {0, 1}, "1 to 3": {0, 1, 2}, "2, 4 to 6, 9, 10": {1, 3, 4, 5, 8, 9}} {
		if got := cutsheet.Numbers(bars); got != want {
			t.Errorf("%v: %q, want %q", bars, got, want)
		}
	}
}
