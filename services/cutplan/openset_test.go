package cutplan

import (
	"bufio"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestTune(t *testing.T) {
	f, err := os.Open("../../testdata/cutting-stock/open/optima.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, _ := csv.NewReader(f).ReadAll()
	opt := map[string]int64{}
	for _, r := range rows[1:] {
		opt[r[0]], _ = strconv.ParseInt(r[5], 10, 64)
	}
	only := os.Getenv("SETS")
	lim, _ := time.ParseDuration(os.Getenv("LIM"))
	if lim == 0 {
		lim = time.Second
	}
	files, _ := filepath.Glob(cmp.Or(os.Getenv("GLOB"), "../../testdata/cutting-stock/open/*.jsonl"))
	for _, fn := range files {
		set := strings.TrimSuffix(filepath.Base(fn), ".jsonl")
		if only != "" && !strings.Contains(","+only+",", ","+set+",") {
			continue
		}
		fh, _ := os.Open(fn)
		sc := bufio.NewScanner(fh)
		sc.Buffer(nil, 1<<20)
		var n, proven, optimal int
		var total, worst time.Duration
		for sc.Scan() {
			var x struct {
				ID       string
				Capacity int64
				Items    [][2]int64
			}
			if err := json.Unmarshal(sc.Bytes(), &x); err != nil {
				t.Fatal(err)
			}
			in := &instance{stocks: []stock{{x.Capacity, 1, unlimited}}}
			for _, it := range x.Items {
				in.w = append(in.w, it[0])
				in.d = append(in.d, it[1])
			}
			start := time.Now()
			end := start.Add(lim)
			r := solve(in, func() bool { return time.Now().After(end) })
			el := time.Since(start)
			n++
			total += el
			worst = max(worst, el)
			if r.proven() {
				proven++
			}
			if r.cost == opt[x.ID] {
				optimal++
			}
			if r.cost < opt[x.ID] || r.lower > opt[x.ID] {
				t.Errorf("WRONG %s cost %d lower %d opt %d", x.ID, r.cost, r.lower, opt[x.ID])
			}
			if !r.proven() || el > lim/2 {
				fmt.Printf("  %s cost %d lower %d opt %d %v\n", x.ID, r.cost, r.lower, opt[x.ID], el)
			}
		}
		fmt.Printf("%s n %d proven %d optimal %d total %v worst %v\n", set, n, proven, optimal, total, worst)
	}
}
