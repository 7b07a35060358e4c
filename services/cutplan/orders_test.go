package cutplan

import (
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// order reads one real order with several stock lengths, and the cost of the known plan (0 when there is none). A
// nesting length of -k is a kerf of k; a bar without a cost costs its length.
func order(t testing.TB, name string) (q Request, knownCost int64) {
	t.Helper()
	table := func(kind string) []map[string]int64 {
		f, err := os.Open(filepath.Join(openSet, "multi_length", name+"_"+kind+".csv"))
		if os.IsNotExist(err) && kind == "solution" {
			return nil
		}
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var out []map[string]int64
		for _, r := range rows[1:] {
			m := map[string]int64{}
			for i, cell := range r {
				if n, err := strconv.ParseInt(cell, 10, 64); err == nil {
					m[rows[0][i]] = n
				} else if cell == "BIN" {
					m["BAR"] = 1
				}
			}
			out = append(out, m)
		}
		return out
	}
	q.Plain = true
	costs := map[int64]int64{}
	for _, r := range table("bins") {
		cost, ok := r["COST"]
		if !ok {
			cost = r["X"]
		}
		costs[r["ID"]] = cost
		price, count := cost*priceParts, r["COPIES"]
		q.Stock = append(q.Stock, Stock{ID: strconv.FormatInt(r["ID"], 10), Length: r["X"], Count: &count, Price: &price})
	}
	for _, r := range table("items") {
		q.Kerf = -r["NESTING_LENGTH"]
		q.Pieces = append(q.Pieces, Piece{Mark: "p" + strconv.FormatInt(r["ID"], 10), Length: r["X"], Count: r["COPIES"]})
	}
	for _, r := range table("solution") {
		if r["BAR"] == 1 {
			knownCost += costs[r["ID"]] * r["COPIES"]
		}
	}
	return q, knownCost
}

// The real orders of testdata/cutting-stock/open/multi_length: never dearer than the known plan, and whole.
func TestRealOrders(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(openSet, "multi_length", "*_bins.csv"))
	if err != nil || len(files) != 6 {
		t.Fatal(len(files), err)
	}
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), "_bins.csv")
		t.Run(name, func(t *testing.T) {
			q, knownCost := order(t, name)
			steps := 0
			ctx := &stepped{Context: context.Background(), left: 200_000, steps: &steps}
			a, err := Plan(ctx, q)
			if err != nil {
				t.Fatal(err)
			}
			if err := inspect(q, a); err != nil {
				t.Fatal(err)
			}
			cost := int64(0)
			for _, b := range a.Bars {
				k := slices.IndexFunc(q.Stock, func(s Stock) bool { return s.ID == b.Stock })
				cost += *q.Stock[k].Price
			}
			t.Logf("cost %s, lower bound %s, proven %v, known plan %d, steps %d", a.Cost, a.CostLowerBound, a.Proven, knownCost, steps)
			if a.Cost != priceText(cost) {
				t.Errorf("says it costs %s, the bars cost %s", a.Cost, priceText(cost))
			}
			if knownCost > 0 && cost > knownCost*priceParts {
				t.Errorf("costs %s, the known plan %d", priceText(cost), knownCost)
			}
		})
	}
}

// stepped is a context that ends after so many questions, so that tests need no clock.
type stepped struct {
	context.Context
	left  int
	steps *int
}

func (s *stepped) Err() error {
	*s.steps++
	if *s.steps > s.left {
		return context.DeadlineExceeded
	}
	return nil
}
