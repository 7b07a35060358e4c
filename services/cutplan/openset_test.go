package cutplan

import (
	"bufio"
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

const openSet = "../../testdata/cutting-stock/open"

// known is what the literature knows of an instance (see testdata/cutting-stock/README.md).
type known struct{ optimum, ffd, bfd int64 }

func optima(t testing.TB) map[string]known {
	t.Helper()
	f, err := os.Open(filepath.Join(openSet, "optima.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	number := func(s string) int64 {
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	out := map[string]known{}
	for _, r := range rows[1:] {
		out[r[at["id"]]] = known{number(r[at["optimum"]]), number(r[at["ffd_bins"]]), number(r[at["bfd_bins"]])}
	}
	return out
}

// open reads one class of the open instances.
func open(t testing.TB, path string) (ids []string, reqs []Request) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		id, q, err := ReadInstance(lines.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		ids, reqs = append(ids, id), append(reqs, q)
	}
	return ids, reqs
}

// The open instances of the cutting-stock literature against their known optima: never a wrong bound, never worse than
// first fit or best fit, every plan whole. Where time counts, BenchmarkOpenInstances tells.
func TestOpenInstances(t *testing.T) {
	best := optima(t)
	files, err := filepath.Glob(filepath.Join(openSet, "*.jsonl"))
	if err != nil || len(files) != 10 {
		t.Fatal("classes", len(files), err)
	}
	for _, file := range files {
		class := strings.TrimSuffix(filepath.Base(file), ".jsonl")
		t.Run(class, func(t *testing.T) {
			t.Parallel()
			ids, reqs := open(t, file)
			for i, q := range reqs {
				ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
				a, err := Plan(ctx, q)
				cancel()
				if err != nil {
					t.Fatal(ids[i], err)
				}
				if err := inspect(q, a); err != nil {
					t.Fatal(ids[i], err)
				}
				k := best[ids[i]]
				if a.Used < k.optimum || a.LowerBound > k.optimum || a.Proven && a.Used != k.optimum {
					t.Errorf("%s: used %d, lower bound %d, proven %v; the optimum is %d", ids[i], a.Used, a.LowerBound, a.Proven, k.optimum)
				}
				if a.Used > min(k.ffd, k.bfd) {
					t.Errorf("%s: used %d; first fit takes %d, best fit %d", ids[i], a.Used, k.ffd, k.bfd)
				}
			}
		})
	}
}
